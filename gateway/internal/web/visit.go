package web

import (
	"context"
	"errors"
	"mime"
	"net/http"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"breakshare.example/gateway/internal/words"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// visit is one request of one person.
type visit struct {
	w     http.ResponseWriter // for cookies only
	r     *http.Request
	ctx   context.Context
	who   identity.Identity
	known bool // who is somebody
	words *words.Language
	now   time.Time

	coop *schedulingv1.Coop // nil on bare pages
	zone *time.Location

	cost    *timing
	tables  []*table // those of the page, in its order
	replays bool     // a form's answer can be asked for again: it changes nothing
}

// bare answers pages that anybody may see and that need no co-op.
func (p *Pages) bare(handle func(*visit) (view, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v := p.visitOf(w, r)
		if err := v.parseForm(); err != nil {
			p.showError(w, v, v.unreadable(err))
			return
		}
		p.answer(w, v, handle)
	}
}

// page answers pages of somebody's co-op.
func (p *Pages) page(handle func(*visit) (view, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v := p.visitOf(w, r)
		if !v.known {
			p.write(w, v, view{template: "nobody", title: "nobody.title", status: http.StatusUnauthorized})
			return
		}
		p.answer(w, v, func(v *visit) (view, error) {
			if err := p.enter(v); err != nil {
				return view{}, err
			}
			return handle(v)
		})
	}
}

func (p *Pages) visitOf(w http.ResponseWriter, r *http.Request) *visit {
	chosen := ""
	if cookie, err := r.Cookie(languageCookie); err == nil {
		chosen = cookie.Value
	}
	l := p.languages.Match(chosen, r.Header.Get("Accept-Language"))
	ctx, cost := withTiming(words.With(r.Context(), l))
	v := &visit{w: w, r: r, ctx: ctx, cost: cost, words: l, now: p.clock.Now(), zone: time.UTC}
	v.who, v.known = identity.From(r.Context())
	return v
}

// enter loads the co-op, without which there is neither a calendar day nor a currency, and
// the form that was sent.
func (p *Pages) enter(v *visit) error {
	if err := v.parseForm(); err != nil {
		return v.unreadable(err)
	}
	coop, err := p.scheduling.GetCoop(v.ctx, &schedulingv1.GetCoopRequest{})
	if err != nil {
		return err
	}
	zone, err := time.LoadLocation(coop.GetTimeZone())
	if err != nil {
		return err
	}
	v.coop, v.zone = coop, zone
	v.words = v.words.In(words.Units{
		Pounds: coop.GetMassUnit() == schedulingv1.MassUnit_MASS_UNIT_POUND, Fahrenheit: coop.GetTemperatureUnit() == schedulingv1.TemperatureUnit_TEMPERATURE_UNIT_FAHRENHEIT,
	})
	v.ctx = words.With(v.ctx, v.words)
	return nil
}

// parseForm reads a plain form, or one with a file. Of a file no more than a photo is kept in
// memory.
func (v *visit) parseForm() error {
	if kind, _, _ := mime.ParseMediaType(v.r.Header.Get("Content-Type")); kind == "multipart/form-data" {
		if err := v.r.ParseMultipartForm(maxPhoto); err != nil {
			return err
		}
	} else if err := v.r.ParseForm(); err != nil {
		return err
	}
	for name, values := range v.r.Form {
		for _, text := range append(slices.Clone(values), name) {
			if !utf8.ValidString(text) || strings.ContainsRune(text, 0) {
				return errNoText
			}
		}
	}
	if !utf8.ValidString(v.r.URL.Path) {
		return errNoText
	}
	return nil
}

// errNoText is for what no keyboard writes and neither a message nor a database takes as text.
var errNoText = errors.New("web: not text in UTF-8")

// unreadable is a form that cannot be read, as the visitor is told of it.
func (v *visit) unreadable(err error) error {
	text := v.words.T("problem.form")
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		text = v.words.T("problem.large", large.Limit>>20)
	}
	return fault.New(fault.Invalid, "FORM_UNREADABLE", "%s", text).WithCause(err)
}

func (p *Pages) answer(w http.ResponseWriter, v *visit, handle func(*visit) (view, error)) {
	shown, err := handle(v)
	var asked *table
	if err == nil && shown.goTo == "" && v.r.FormValue("as") == "csv" {
		asked, err = v.tableAsked()
	}
	switch {
	case err != nil:
		p.showError(w, v, err)
	case shown.goTo != "":
		http.Redirect(w, v.r, shown.goTo, http.StatusSeeOther)
	case asked != nil:
		v.cost.tell(w)
		sendTable(w, asked)
	case shown.file != nil:
		send(w, shown.file)
	default:
		p.write(w, v, shown)
	}
}

// problem is an error as a page shows it.
type problem struct {
	Message   string
	Fields    []fault.Field
	Forbidden bool
	Again     bool // it is worth trying again as it is
	English   bool // the message is a service's own words
}

func (p *Pages) showError(w http.ResponseWriter, v *visit, err error) {
	var f *fault.Error
	if !errors.As(err, &f) {
		f = fault.From(err)
	}
	if f.Kind == fault.Internal {
		p.log.ErrorContext(v.ctx, "page failed", "page", v.r.Pattern, "error", err)
	}
	data := problem{
		Message: f.Message, Fields: f.Fields, Forbidden: f.Kind == fault.Forbidden,
		Again: f.Kind == fault.Unavailable || f.Kind == fault.Deadline, English: inEnglish(err),
	}
	if data.Message == "" || f.Kind == fault.Internal {
		data.Message, data.English = v.words.T("problem.internal"), false
	}
	p.write(w, v, view{template: "problem", title: "problem.title", data: data, status: f.Kind.HTTP()})
}

// today is the calendar day in the co-op's time zone, so many days on.
func (v *visit) today(days int) string {
	return v.now.In(v.zone).AddDate(0, 0, days).Format(time.DateOnly)
}

// day is the day that a request names, or otherwise.
func (v *visit) day(otherwise string) (string, error) {
	return v.dayOf("day", otherwise)
}

func (v *visit) dayOf(name, otherwise string) (string, error) {
	day := v.r.FormValue(name)
	if day == "" {
		return otherwise, nil
	}
	if _, err := time.Parse(time.DateOnly, day); err != nil {
		return "", fault.InvalidField(name, "%s", v.words.T("problem.day", day))
	}
	return day, nil
}

// addDays moves an ISO date, which must be one.
func addDays(date string, days int) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return t.AddDate(0, 0, days).Format(time.DateOnly)
}

// daysBetween is the number of days from one ISO date to another; both must be dates.
func daysBetween(from, to string) int {
	a, errA := time.Parse(time.DateOnly, from)
	b, errB := time.Parse(time.DateOnly, to)
	if errA != nil || errB != nil {
		return 0
	}
	return int(b.Sub(a) / (24 * time.Hour))
}
