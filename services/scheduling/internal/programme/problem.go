package programme

import (
	"fmt"
	"strings"
)

// Code says what kind of fault a Problem is.
type Code string

// The faults Validate finds.
const (
	// Missing: a name, text, stage or value that must be there is not.
	Missing Code = "missing"
	// Unknown: a word outside the fixed list (system, stage, place, status) or a
	// source key that the programme does not hold.
	Unknown Code = "unknown"
	// Repeated: the same stage or product twice.
	Repeated Code = "repeated"
	// OutOfOrder: least, usual and most, or the stages, stand in an order that
	// cannot be.
	OutOfOrder Code = "out of order"
	// OutOfRange: a number no mushroom farm could mean.
	OutOfRange Code = "out of range"
	// WrongPlace: a stage in a place that the growing system does not use for it.
	WrongPlace Code = "wrong place"
	// BadSum: shares that do not sum to 1000 per mille.
	BadSum Code = "bad sum"
	// Disagrees: two statements of the programme contradict each other.
	Disagrees Code = "disagrees"
)

// Problem is one fault in a programme.
type Problem struct {
	// Path of the field as the JSON form writes it, e.g. "stages[3].days".
	Path string
	Code Code
	// Detail says what is wrong and how to mend it.
	Detail string
}

// InvalidError lists everything wrong with a programme, in the order of its
// fields.
type InvalidError struct {
	Programme string // id, may be empty
	Problems  []Problem
}

// Error names every problem with its path.
func (e *InvalidError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "crop programme %q cannot be used:", e.Programme)
	for i, p := range e.Problems {
		if i > 0 {
			b.WriteByte(';')
		}
		fmt.Fprintf(&b, " %s: %s", p.Path, p.Detail)
	}
	return b.String()
}

// checker gathers problems while the fields are walked.
type checker struct {
	p        *Programme
	problems []Problem
}

func (c *checker) add(path string, code Code, format string, args ...any) {
	c.problems = append(c.problems, Problem{Path: path, Code: code, Detail: fmt.Sprintf(format, args...)})
}

func (c *checker) text(path, v string) {
	if strings.TrimSpace(v) == "" {
		c.add(path, Missing, "is empty; write it")
		return
	}
	if len(v) > maxText {
		c.add(path, OutOfRange, "has %d bytes; keep it to %d", len(v), maxText)
	}
}

func (c *checker) source(path, key string) {
	if key == "" {
		c.add(path+".source", Missing, "names no source; every value needs one")
		return
	}
	if _, ok := c.p.Sources[key]; !ok {
		c.add(path+".source", Unknown, "names source %q, which the programme does not hold; add it under sources", key)
	}
}

func (c *checker) between(path string, v, low, high int64, unit string) {
	if v < low || v > high {
		c.add(path, OutOfRange, "is %d %s; give %d to %d", v, unit, low, high)
	}
}

// ranged checks a least, usual and most value against each other, the limits
// and the source.
func (c *checker) ranged(path string, r Range, low, high int64, unit string) {
	if r.Least > r.Usual || r.Usual > r.Most {
		c.add(path, OutOfOrder, "least %d, usual %d, most %d %s; they must not fall", r.Least, r.Usual, r.Most, unit)
	}
	c.between(path+".least", r.Least, low, high, unit)
	c.between(path+".usual", r.Usual, low, high, unit)
	c.between(path+".most", r.Most, low, high, unit)
	c.source(path, r.Source)
}

func (c *checker) band(path string, b *Band, low, high int64, unit string) {
	if b == nil {
		return
	}
	if b.Least == nil && b.Most == nil {
		c.add(path, Missing, "has neither least nor most; give one or leave the limit out")
	}
	if b.Least != nil {
		c.between(path+".least", *b.Least, low, high, unit)
	}
	if b.Most != nil {
		c.between(path+".most", *b.Most, low, high, unit)
	}
	if b.Least != nil && b.Most != nil && *b.Least > *b.Most {
		c.add(path, OutOfOrder, "least %d is above most %d %s", *b.Least, *b.Most, unit)
	}
	c.source(path, b.Source)
}
