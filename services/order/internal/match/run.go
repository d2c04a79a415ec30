package match

import (
	"context"
	"fmt"
)

// Step is how far a run has come.
type Step uint8

// The steps, in order; a run may come back to Solving.
const (
	Solving   Step = iota + 1 // looking for the best flow
	Verifying                 // checking that there is none better
)

// Run matches a day. It tells each step as it begins, and again from time to time while it
// lasts; told may be nil. The order of the day's lots, lines, products and so on makes no
// difference.
//
// It returns a *Problem for a day that makes no sense or pins that cannot be, a *TooLarge for
// one whose costs could overflow, the context's error when it ends first, and an error that no
// input can cause where the solver's answer does not stand up to the check.
func Run(ctx context.Context, d Day, told func(Step)) (Match, error) {
	return (&Session{}).run(ctx, d, told)
}

func (s *Session) run(ctx context.Context, d Day, told func(Step)) (Match, error) {
	if told == nil {
		told = func(Step) {}
	}
	if err := d.check(); err != nil {
		return Match{}, err
	}
	today, err := prepare(d)
	if err != nil {
		return Match{}, err
	}
	best, gap, dropped, err := today.solveUseful(ctx, s, told)
	if err != nil {
		return Match{}, err
	}
	allocations := append(best.net.deal(best.flow), today.sent...)
	m := today.report(merge(allocations), best, dropped)
	m.Proof.Gap = gap
	return m, nil
}

// pinsMet refuses a day on which something that must be cannot.
func (p *prepared) pinsMet(s solution) error {
	for a, k := range s.net.kind {
		if k != unmet && k != parts || s.flow[a] == 0 {
			continue
		}
		w := s.net.wants[s.net.want[a]]
		if !w.must {
			continue
		}
		for _, pin := range p.day.Pins {
			if pin.Kind == PinPacks && pin.Order == w.Order && pin.Product == w.Product {
				return pin.problem("it cannot be: %d of its packs are not to be had with the lots, the pins and the customer's wishes as they are", s.flow[a])
			}
		}
		return fmt.Errorf("match: %s/%s must be met and has no pin", w.Order, w.Product)
	}
	return nil
}
