package hygiene

import (
	"fmt"
	"time"
)

// Treatment is a pesticide applied in a room. Both intervals are those of its
// label.
type Treatment struct {
	Product    string
	Applied    time.Time
	ReEntry    time.Duration // nobody without the label's protective equipment before this
	PreHarvest time.Duration // no picking before this
}

// TreatmentError refuses a treatment; Why says how to mend it.
type TreatmentError struct{ Product, Why string }

func (e *TreatmentError) Error() string {
	return fmt.Sprintf("treatment with %q: %s", e.Product, e.Why)
}

// Opening says from when a room may be entered, and from when it may be picked.
// A zero time means that nothing forbids it.
type Opening struct {
	Enter, Pick         time.Time
	EnterRule, PickRule string // the product whose label decides
}

// Opens applies the longest rule: of several treatments the latest end counts,
// of products applied together the longest interval (Worker Protection
// Standard, 40 CFR 170, from memory). Picking also waits for entry. It refuses
// with a *TreatmentError.
func Opens(treatments []Treatment) (Opening, error) {
	var o Opening
	for _, t := range treatments {
		if t.Applied.IsZero() || t.ReEntry < 0 || t.PreHarvest < 0 {
			return Opening{}, &TreatmentError{t.Product, "give when it was applied and the label's intervals, 0 or more"}
		}
		o.Enter, o.EnterRule = later(o.Enter, o.EnterRule, t.Applied.Add(t.ReEntry), t.Product)
		o.Pick, o.PickRule = later(o.Pick, o.PickRule, t.Applied.Add(t.PreHarvest), t.Product)
	}
	o.Pick, o.PickRule = later(o.Pick, o.PickRule, o.Enter, o.EnterRule)
	return o, nil
}

// later keeps the later instant; of equal ones the product first in the
// alphabet, so that the order of treatments does not matter.
func later(at time.Time, by string, other time.Time, otherBy string) (time.Time, string) {
	if other.After(at) || (other.Equal(at) && otherBy < by) {
		return other, otherBy
	}
	return at, by
}
