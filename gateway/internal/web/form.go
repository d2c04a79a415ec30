package web

import (
	"errors"
	"net/url"
	"strconv"
	"strings"

	"breakshare.example/gateway/internal/words"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// form is a form as a page shows it: fresh, or with what was typed and what was wrong with it.
// Its request id is minted when it is rendered, so that sending it twice does it once; it is
// kept over a refusal, since nothing may be known of what became of the first try.
type form struct {
	RequestID string
	// Problem is what was wrong with the form as a whole.
	Problem string
	// English tells that what was wrong is told in a service's own words.
	English bool
	// Stale tells that somebody else changed the thing meanwhile.
	Stale bool

	id       string
	answered bool // the values are those of a form that was taken
	values   url.Values
	errors   map[string]string
}

func newForm() *form { return &form{RequestID: ids.New()} }

// For is the form of a name on a page with several: this one where it was sent, else a
// fresh one.
func (f *form) For(id string) *form {
	if f.values != nil && f.id == id {
		return f
	}
	return newForm()
}

// Sent reports whether the form was sent and refused.
func (f *form) Sent() bool { return f.values != nil && !f.answered }

// Value is what was typed into a field, or otherwise in a fresh form.
func (f *form) Value(name, otherwise string) string {
	if f.values != nil {
		if typed, ok := f.values[name]; ok {
			return typed[0]
		}
	}
	return otherwise
}

// Error is what is wrong with a field; empty where nothing is.
func (f *form) Error(name string) string { return f.errors[name] }

// Errors reports whether any field is wrong.
func (f *form) Errors() bool { return len(f.errors) > 0 }

// Wrong is how many fields are wrong.
func (f *form) Wrong() int64 { return int64(len(f.errors)) }

// refuse keeps a fault with the form it came from. name turns the path of a field in the
// request into the name of the form's; nil leaves it.
func (f *form) refuse(err *fault.Error, known url.Values, name func(string) string) {
	f.errors = map[string]string{}
	f.Stale = err.Kind == fault.Stale
	for _, field := range err.Fields {
		path := field.Path
		if name != nil {
			path = name(path)
		}
		if _, ok := known[path]; ok && f.errors[path] == "" {
			f.errors[path] = field.Description
		}
	}
	if len(f.errors) == 0 || len(f.errors) < len(err.Fields) {
		f.Problem = err.Message
		for _, field := range err.Fields {
			if len(f.errors) == 0 && !strings.Contains(f.Problem, field.Description) {
				f.Problem += " " + field.Path + ": " + field.Description + "."
			}
		}
	}
}

// submit does what a form asks for; refused, it shows the page again with what was typed.
func submit(do func(*visit) (view, error), show func(*visit, *form) (view, error), name func(string) string) func(*visit) (view, error) {
	return func(v *visit) (view, error) {
		shown, err := do(v)
		if err == nil {
			return shown, nil
		}
		return again(v, err, show, name)
	}
}

// reused is the services' reason for a request id that they answered before with another body:
// somebody went back in the browser, changed the form and sent it again.
const reused = "REQUEST_ID_REUSED"

// again shows a page whose form was refused. Errors that no change of the form can mend are
// returned as they are.
func again(v *visit, err error, show func(*visit, *form) (view, error), name func(string) string) (view, error) {
	var f *fault.Error
	if !errors.As(err, &f) {
		f = fault.From(err)
	}
	switch f.Kind {
	case fault.Internal, fault.Unauthenticated, fault.Forbidden, fault.Cancelled:
		return view{}, err
	}
	sent := &form{English: inEnglish(err), id: v.r.PostFormValue("form"), RequestID: v.r.PostFormValue("request_id"), values: v.r.PostForm}
	if !ids.Valid(sent.RequestID) {
		sent.RequestID = ids.New()
	}
	if f.Reason == reused {
		f = fault.New(f.Kind, reused, "%s", v.words.T("form.reused"))
		sent.English = false
		sent.RequestID = ids.New()
	}
	sent.refuse(f, v.r.PostForm, name)
	shown, err := show(v, sent)
	if err != nil {
		return view{}, err
	}
	shown.status = f.Kind.HTTP()
	return shown, nil
}

// afterDot is the last part of a field's path: a form names its fields as the message does.
func afterDot(path string) string { return path[strings.LastIndexByte(path, '.')+1:] }

// whole reads a whole number of a field; blank is 0.
func (v *visit) whole(name string) (int64, error) {
	typed := strings.TrimSpace(v.r.PostFormValue(name))
	if typed == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(typed, 10, 64)
	if err != nil || n < 0 {
		return 0, fault.InvalidField(name, "%s", v.words.T("problem.whole", typed))
	}
	return n, nil
}

// grams reads a mass of a field in the co-op's unit; blank is 0.
func (v *visit) grams(name string) (int64, error) {
	typed := strings.TrimSpace(v.r.PostFormValue(name))
	if typed == "" {
		return 0, nil
	}
	g, ok := v.words.Grams(typed)
	if !ok {
		return 0, fault.InvalidField(name, "%s", v.words.T("problem.kg", typed))
	}
	return g, nil
}

// kilograms reads a mass of a field for what is kept in whole kilograms; blank is 0. Pounds are
// rounded to the nearest kilogram.
func (v *visit) kilograms(name string) (int64, error) {
	if !v.words.Units().Pounds {
		return v.whole(name)
	}
	grams, err := v.grams(name)
	return (grams + 500) / 1000, err
}

// minor reads an amount of money with at most two decimals in minor units; blank is 0.
func (v *visit) minor(name string) (int64, error) {
	typed := strings.TrimSpace(v.r.PostFormValue(name))
	if typed == "" {
		return 0, nil
	}
	thousandths, ok := words.Thousandths(typed)
	if !ok || thousandths%10 != 0 {
		return 0, fault.InvalidField(name, "%s", v.words.T("problem.money", typed))
	}
	return thousandths / 10, nil
}
