package fillplan

import (
	"fmt"
	"math/big"
	"slices"
)

// Wishes bend a plan without changing the instance: what must stay, what must
// not be, and what a fill costs beyond its compost and labour. The zero value
// wishes nothing.
type Wishes struct {
	// Keep are fills every plan must contain. Together they must be feasible.
	Keep []Fill
	// Forbid are fills no plan may contain.
	Forbid []Fill
	// Accepted is the plan growers already work by, and ChangeM what it costs, in
	// millicents, to leave out one of its fills or to add one that is not in it.
	// Moving a fill is leaving it out and adding another: twice ChangeM.
	Accepted []Fill
	ChangeM  int64
	// ChargeM adds to the cost of single fills, in millicents, or takes from it:
	// for instance to even out production between farms or to keep work off a
	// busy week.
	ChargeM map[Fill]int64
}

// WishError says which wish cannot be met, and why.
type WishError struct {
	// Fill is the fill concerned.
	Fill Fill
	// Reason says what is wrong and what would mend it.
	Reason string
}

func (e *WishError) Error() string {
	return fmt.Sprintf("wish for fill %v: %s", e.Fill, e.Reason)
}

// check returns a *WishError for the first wish that cannot be met, or a
// *PlanError when the fills to keep are not feasible together.
func (w *Wishes) check(in *Instance) error {
	if w == nil {
		return nil
	}
	for _, fills := range [][]Fill{w.Keep, w.Forbid, w.Accepted} {
		for _, f := range fills {
			if !in.inRange(f) {
				return &WishError{Fill: f, Reason: "there is no such room, programme or week in the instance"}
			}
		}
	}
	for _, f := range w.Keep {
		if slices.Contains(w.Forbid, f) {
			return &WishError{Fill: f, Reason: "it is both to be kept and forbidden; drop one of the two"}
		}
	}
	if err := Check(in, Plan{Instance: in.Name, Fills: w.Keep}); err != nil {
		return fmt.Errorf("fills to keep: %w", err)
	}
	if w.ChangeM < 0 {
		return &WishError{Reason: fmt.Sprintf("the cost of a change must be at least 0, got %d", w.ChangeM)}
	}
	return w.checkRange(in)
}

// checkRange refuses charges that could carry a cost out of the exact range.
func (w *Wishes) checkRange(in *Instance) error {
	var largest int64
	for f, charge := range w.ChargeM {
		if !in.inRange(f) {
			return &WishError{Fill: f, Reason: "there is no such room, programme or week in the instance"}
		}
		if charge > maxCharge || charge < -maxCharge {
			return &WishError{Fill: f, Reason: fmt.Sprintf("its charge of %d is beyond ±%d thousandths of a cent", charge, int64(maxCharge))}
		}
		largest = max(largest, charge, -charge)
	}
	if w.ChangeM > maxCharge {
		return &WishError{Reason: fmt.Sprintf("the cost of a change, %d, is above %d thousandths of a cent", w.ChangeM, int64(maxCharge))}
	}
	total := w.ceiling(in, largest)
	if total.Add(total, in.ceiling()).Cmp(maxCost) > 0 {
		return &WishError{Reason: "charges and the cost of changes together are too large for exact costs"}
	}
	return nil
}

// maxCharge is the largest charge on one fill: ten million euro or dollars.
const maxCharge = 1_000_000_000_000

func (w *Wishes) ceiling(in *Instance, largest int64) *big.Int {
	fills := big.NewInt(int64(len(in.Rooms)*in.Weeks + len(w.Accepted)))
	return fills.Mul(fills, big.NewInt(largest+w.ChangeM))
}

func (in *Instance) inRange(f Fill) bool {
	return f.Room >= 0 && f.Room < len(in.Rooms) && f.Programme >= 0 && f.Programme < len(in.Programmes) && f.Week >= 0 && f.Week < in.Weeks
}

// apply writes checked wishes into a problem.
func (w *Wishes) apply(p *problem) {
	if w == nil {
		return
	}
	accepted := map[Fill]bool{}
	for _, f := range w.Accepted {
		if !accepted[f] {
			accepted[f] = true
			p.fixed += w.ChangeM
		}
	}
	for r := range p.rooms {
		for k := range p.rooms[r].slots {
			s := &p.rooms[r].slots[k]
			for week := range s.base {
				if s.base[week] >= never {
					continue
				}
				f := Fill{Room: r, Programme: s.programme, Week: week}
				s.base[week] += w.ChargeM[f]
				if accepted[f] {
					s.base[week] -= w.ChangeM
				} else {
					s.base[week] += w.ChangeM
				}
			}
		}
	}
	for _, f := range w.Forbid {
		if k := p.rooms[f.Room].slotOf(f.Programme); k >= 0 {
			p.rooms[f.Room].slots[k].base[f.Week] = never
		}
	}
	for _, f := range (Plan{Fills: w.Keep}).Canonical().Fills {
		p.keep(f)
	}
	for _, c := range w.ChargeM {
		p.ceiling += max(c, -c)
	}
	p.ceiling += w.ChangeM * int64(len(p.rooms)*p.weeks+len(w.Accepted))
}

// keep leaves a room no choice but the fill in the weeks it occupies.
func (p *problem) keep(f Fill) {
	room := &p.rooms[f.Room]
	room.bound = true
	kept := room.slotOf(f.Programme)
	end := f.Week + room.slots[kept].occ
	room.idle[f.Week] = false
	for k := range room.slots {
		s := &room.slots[k]
		for w := max(0, f.Week-s.occ+1); w < min(end, p.weeks); w++ {
			if k != kept || w != f.Week {
				s.base[w] = never
			}
		}
	}
	p.kept = append(p.kept, f)
}

// WishM is what the wishes add to the cost of a plan, in millicents.
func (w *Wishes) WishM(fills []Fill) int64 {
	if w == nil {
		return 0
	}
	var total int64
	missing := map[Fill]bool{}
	for _, f := range w.Accepted {
		missing[f] = true
	}
	for _, f := range fills {
		total += w.ChargeM[f]
		if missing[f] {
			delete(missing, f)
		} else {
			total += w.ChangeM
		}
	}
	return total + w.ChangeM*int64(len(missing))
}
