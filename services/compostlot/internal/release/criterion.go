package release

import "fmt"

// Test is how a criterion looks at readings.
type Test uint8

const (
	// HoldsUnbroken: every probe stays within the band for the whole duration
	// without a break.
	HoldsUnbroken Test = iota + 1
	// HoldsInAll: every probe is within the band for the duration added up.
	HoldsInAll
	// EndsWithin: the last readings of every probe are within the band.
	EndsWithin
)

// Standing is how well a source is known.
type Standing string

const (
	Seen           Standing = "seen on the issuer's page"
	SeenCopy       Standing = "seen on a copy that names the source"
	FromMemory     Standing = "from memory"
	CommonPractice Standing = "common practice, no source"
	CoopsOwn       Standing = "as the co-op states it"
)

// Source is where a value comes from.
type Source struct {
	Text     string
	Standing Standing
}

// Criterion is one thing to prove. Low and High are in thousandths of the
// unit, both included; nil means no limit on that side.
type Criterion struct {
	Key        string // unique, for example "pasteurise-60C-2h"
	Subject    string // what it is about; of one subject a co-op chooses one
	Quantities []Quantity
	Test       Test
	Low, High  *int64
	// Seconds in the band; HoldsUnbroken and HoldsInAll only.
	Seconds int64
	// From and To bound the readings that count; To 0 is the moment of
	// judging.
	From, To Mark
	// Readings is how many last readings of each probe must agree (EndsWithin;
	// 0 counts as 1).
	Readings int
	// MaxAgeSeconds is how old the last reading may be when judging
	// (EndsWithin); 0 for any age.
	MaxAgeSeconds int64
	// MinProbes is how many probes of each quantity there must be, 1 or more.
	MinProbes int
	Source    Source
	// Note says what other sources hold; shown beside the criterion.
	Note string
}

func (c Criterion) within(v int64) bool {
	return (c.Low == nil || v >= *c.Low) && (c.High == nil || v <= *c.High)
}

// band is the wanted range in words.
func (c Criterion) band() string {
	q := c.Quantities[0]
	switch {
	case c.Low == nil:
		return "at most " + q.Format(*c.High)
	case c.High == nil:
		return "at least " + q.Format(*c.Low)
	default:
		return q.Format(*c.Low) + " to " + q.Format(*c.High)
	}
}

// Sanity says which readings of a quantity can be proof at all.
type Sanity struct {
	Least, Most int64 // possible values, thousandths of the unit
	// MaxGapSeconds is the longest time between two readings that still tells
	// what was between them.
	MaxGapSeconds int64
	// StuckSeconds is how long a value may stay exactly the same; 0 for a
	// quantity that is sampled, not logged.
	StuckSeconds int64
}

// Rules are a co-op's criteria and what it accepts as a reading.
type Rules struct {
	Criteria []Criterion
	Sanity   map[Quantity]Sanity
}

// Check returns a *RuleError for rules that make no sense.
func (r Rules) Check() error {
	if len(r.Criteria) == 0 {
		return &RuleError{Problem: "without any criterion nothing can be proven: choose at least one"}
	}
	seen := map[string]bool{}
	for _, c := range r.Criteria {
		bad := func(problem string) error { return &RuleError{Key: c.Key, Problem: problem} }
		switch {
		case c.Key == "" || seen[c.Key]:
			return bad("each criterion needs a key of its own")
		case len(c.Quantities) == 0:
			return bad("name at least one quantity")
		case c.Low == nil && c.High == nil:
			return bad("give a lower or an upper limit")
		case c.Low != nil && c.High != nil && *c.Low > *c.High:
			return &RuleError{Key: c.Key, Figure: FigureLow, Problem: "the lower limit is above the upper one"}
		case c.Test < HoldsUnbroken || c.Test > EndsWithin:
			return bad("unknown test")
		case c.Test != EndsWithin && c.Seconds <= 0:
			return bad("give the time to hold, 1 second or more")
		case c.MinProbes < 1:
			return bad("ask for at least one probe")
		case c.From < Filled || c.From > Cooled || c.To > Cooled:
			return bad("say from which mark on readings count")
		case c.Source.Text == "" || c.Source.Standing == "":
			return bad("name the source of the value")
		}
		for _, q := range c.Quantities {
			s, ok := r.Sanity[q]
			if !ok || s.MaxGapSeconds <= 0 || s.Least > s.Most || s.StuckSeconds < 0 {
				return bad(fmt.Sprintf("say which readings of %v are possible and how close they must be", q))
			}
		}
		seen[c.Key] = true
	}
	return nil
}
