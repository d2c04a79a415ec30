package shareout

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// answer says what request r got in a plan, and why not more.
func (t *table) answer(r int, p *plan, left []int64) Answer {
	req := t.requests[r]
	out := Answer{RequestID: req.ID, Farm: req.Farm, AskedKg: req.AskedKg}
	var open int64
	for a := t.first[r]; a < t.first[r+1]; a++ {
		s := t.arcs[a].slot
		if kg := p.flow[a]; kg > 0 {
			out.Grants = append(out.Grants, Grant{SlotID: t.slots[s].ID, Kg: kg})
			out.GrantedKg += kg
		}
		if left[s] == 0 {
			out.FullSlotIDs = append(out.FullSlotIDs, t.slots[s].ID)
		}
		open += left[s]
	}
	switch {
	case out.GrantedKg == req.AskedKg:
		out.Reason = InFull
	case t.first[r] == t.first[r+1]:
		out.Reason = NoSlotInWindow
	case open > 0 || out.GrantedKg == 0 && t.least[r] > 0:
		out.Reason = SmallestAmount
	default:
		out.Reason = SlotsFull
	}
	if out.Reason != InFull {
		out.Wider = t.wider(r, out.GrantedKg, left)
	}
	out.Sentence = t.sentence(r, out)
	return out
}

// wider lists what slots of a wanted phase outside the acceptable ones still
// have for the request, nearest to its acceptable dates first.
func (t *table) wider(r int, has int64, left []int64) []Grant {
	req := t.requests[r]
	taken := make([]bool, len(t.slots))
	phases := map[int]bool{}
	for _, ph := range req.Window.Phases {
		phases[ph] = true
	}
	from, to := day(req.Window.From), day(req.Window.To)
	for a := t.first[r]; a < t.first[r+1]; a++ {
		s := t.arcs[a].slot
		taken[s] = true
		if len(req.SlotIDs) > 0 {
			phases[t.slots[s].Phase] = true
			if d := day(t.slots[s].Date); a == t.first[r] {
				from, to = d, d
			} else {
				to = d // slots are in order of date
			}
		}
	}
	away := func(s int) int64 { d := day(t.slots[s].Date); return max(from-d, d-to, 0) }
	var order []int
	for s := range t.slots {
		if !taken[s] && left[s] > 0 && (len(phases) == 0 || phases[t.slots[s].Phase]) {
			order = append(order, s)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(away(a), away(b)) })
	var out []Grant
	total := has
	for _, s := range order {
		more := min(left[s], req.AskedKg-total)
		if more > 0 && more >= t.slots[s].SmallestLotKg {
			out = append(out, Grant{SlotID: t.slots[s].ID, Kg: more})
			total += more
		}
	}
	if total < t.least[r] {
		return nil
	}
	return out
}

// sentence is the explanation in words.
func (t *table) sentence(r int, a Answer) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Asked %d kg, got %d kg", a.AskedKg, a.GrantedKg)
	switch a.Reason {
	case InFull:
		b.WriteString(": asked in full.")
	case NoSlotInWindow:
		b.WriteString(": no slot is within the dates and phases asked for.")
	case SlotsFull:
		fmt.Fprintf(&b, ": every slot it accepts is given out (%s).", strings.Join(a.FullSlotIDs, ", "))
	case SmallestAmount:
		if least := t.least[r]; least > 0 && a.GrantedKg == 0 {
			fmt.Fprintf(&b, ": what could be given is less than the %d kg that it can use.", least)
		} else {
			b.WriteString(": what is left in its slots is below the smallest lot.")
		}
	}
	for i, g := range a.Wider {
		lead := ", "
		if i == 0 {
			lead = " With a wider window it could also have "
		}
		fmt.Fprintf(&b, "%s%d kg from slot %s", lead, g.Kg, g.SlotID)
		if s := slices.IndexFunc(t.slots, func(s Slot) bool { return s.ID == g.SlotID }); s >= 0 {
			fmt.Fprintf(&b, " on %s", dateText(t.slots[s].Date))
		}
	}
	if len(a.Wider) > 0 {
		b.WriteString(".")
	}
	return b.String()
}
