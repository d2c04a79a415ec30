package dimacs

import (
	"fmt"
	"math"
)

// fields cuts a line at blanks and remembers the first fault, so that a line
// can be read in one go and checked at its end.
type fields struct {
	rest []byte
	what string
}

// word returns the next field, empty at the end of the line.
func (f *fields) word() []byte {
	i := 0
	for i < len(f.rest) && blank(f.rest[i]) {
		i++
	}
	j := i
	for j < len(f.rest) && !blank(f.rest[j]) {
		j++
	}
	w := f.rest[i:j]
	f.rest = f.rest[j:]
	return w
}

func blank(c byte) bool { return c == ' ' || c == '\t' }

// int reads the next field as an integer.
func (f *fields) int(name string) int64 {
	w := f.word()
	digits := w
	negative := len(w) > 0 && w[0] == '-'
	if negative {
		digits = w[1:]
	}
	if len(digits) == 0 {
		f.refuse(name, w)
		return 0
	}
	x := int64(0)
	for _, c := range digits {
		d := int64(c) - '0'
		if d < 0 || d > 9 || x > (math.MaxInt64-d)/10 {
			f.refuse(name, w)
			return 0
		}
		x = 10*x + d
	}
	if negative {
		return -x
	}
	return x
}

func (f *fields) refuse(name string, w []byte) {
	switch {
	case f.what != "":
	case len(w) == 0:
		f.what = name + " is missing"
	default:
		f.what = fmt.Sprintf("%s is %q; expected an integer of at most 19 digits", name, clip(w))
	}
}

// fault returns the first fault of the line, among them anything left over,
// together with the form expected.
func (f *fields) fault(form string) string {
	if f.what == "" {
		w := f.word()
		if len(w) == 0 {
			return ""
		}
		f.what = fmt.Sprintf("%q is left over", clip(w))
	}
	return f.what + "; the form is " + form
}

// clip shortens what a message quotes.
func clip(w []byte) []byte {
	const most = 20
	return w[:min(len(w), most)]
}
