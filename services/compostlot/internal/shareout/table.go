package shareout

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"time"
)

// maxHaulCents is the dearest haul of a tonne that is believed.
const maxHaulCents = 10_000_000

// arc is one acceptable slot of one request.
type arc struct {
	request, slot int
	lot           int64 // smallest lot of the slot, 0 or more
	haul          int64 // minor units per tonne
}

// farm is one farm with its requests added up.
type farm struct {
	id     string
	weight int64
	asked  int64
	unit   int64 // what the level is measured against; common factors removed
}

// table is a checked round: sorted, with numbers for names.
type table struct {
	slots    []Slot
	requests []Request
	farms    []farm
	farmOf   []int   // of each request
	arcs     []arc   // by request, then slot
	first    []int   // arcs of request r are first[r]..first[r+1]
	least    []int64 // of each request
	room     []int64 // of each slot: its capacity, cut to what all ask together
}

// newTable checks a round and puts it in order. It returns *InvalidError or
// *TooLargeError.
func newTable(in Round) (*table, error) {
	t := &table{slots: slices.Clone(in.Slots), requests: slices.Clone(in.Requests)}
	slices.SortFunc(t.slots, func(a, b Slot) int {
		return cmp.Or(cmp.Compare(day(a.Date), day(b.Date)), cmp.Compare(a.ID, b.ID))
	})
	slices.SortFunc(t.requests, func(a, b Request) int { return cmp.Compare(a.ID, b.ID) })
	slotAt, err := t.checkSlots()
	if err != nil {
		return nil, err
	}
	if err := t.addRequests(slotAt); err != nil {
		return nil, err
	}
	if err := t.setUnits(in.Rule); err != nil {
		return nil, err
	}
	return t, nil
}

func (t *table) checkSlots() (map[string]int, error) {
	at := make(map[string]int, len(t.slots))
	for i, s := range t.slots {
		where := "slot " + s.ID
		if _, twice := at[s.ID]; twice || s.ID == "" {
			return nil, invalid(where, "each slot needs an id of its own")
		}
		if s.CapacityKg < 0 || s.SmallestLotKg < 0 {
			return nil, invalid(where, "capacity %d kg and smallest lot %d kg must be 0 or more", s.CapacityKg, s.SmallestLotKg)
		}
		if s.Phase < 1 || s.Phase > 3 {
			return nil, invalid(where, "phase %d must be 1, 2 or 3", s.Phase)
		}
		at[s.ID] = i
	}
	return at, nil
}

func (t *table) addRequests(slotAt map[string]int) error {
	weight := make(map[string]int64)
	for i, r := range t.requests {
		if err := check(r); err != nil {
			return err
		}
		where := "request " + r.ID
		if i > 0 && t.requests[i-1].ID == r.ID {
			return invalid(where, "each request needs an id of its own")
		}
		if w, seen := weight[r.Farm]; seen && w != r.Weight {
			return invalid(where+", weight", "farm %s has weight %d in another request and %d here: give one weight per farm", r.Farm, w, r.Weight)
		}
		weight[r.Farm] = r.Weight
		t.first = append(t.first, len(t.arcs))
		t.least = append(t.least, r.leastKg())
		slots, err := t.acceptable(r, slotAt)
		if err != nil {
			return err
		}
		for _, s := range slots {
			t.arcs = append(t.arcs, arc{request: i, slot: s, lot: t.slots[s].SmallestLotKg, haul: r.HaulCents[t.slots[s].ID]})
		}
	}
	t.first = append(t.first, len(t.arcs))
	return t.addFarms(weight)
}

func (t *table) addFarms(weight map[string]int64) error {
	at := make(map[string]int, len(weight))
	for id, w := range weight {
		t.farms = append(t.farms, farm{id: id, weight: w})
	}
	slices.SortFunc(t.farms, func(a, b farm) int { return cmp.Compare(a.id, b.id) })
	for i, f := range t.farms {
		at[f.id] = i
	}
	var total big.Int
	for _, r := range t.requests {
		total.Add(&total, big.NewInt(r.AskedKg))
		f := at[r.Farm]
		t.farmOf = append(t.farmOf, f)
		t.farms[f].asked += r.AskedKg
	}
	if !total.IsInt64() {
		return &TooLargeError{Units: "any number of", Kg: total.String()}
	}
	return nil
}

func check(r Request) error {
	where := "request " + r.ID
	switch {
	case r.ID == "" || r.Farm == "":
		return invalid(where, "a request needs an id and a farm")
	case r.AskedKg < 1:
		return invalid(where+", asked", "%d kg must be 1 or more", r.AskedKg)
	case r.Weight < 1:
		return invalid(where+", weight", "%d must be 1 or more", r.Weight)
	case r.SmallestUsefulKg < 0 || r.SmallestUsefulKg > r.AskedKg:
		return invalid(where+", smallest useful amount", "%d kg must be from 0 to the %d kg asked", r.SmallestUsefulKg, r.AskedKg)
	}
	for slot, cents := range r.HaulCents {
		if cents < 0 || cents > maxHaulCents {
			return invalid(where+", haul from slot "+slot, "%d per tonne must be from 0 to %d minor units", cents, int64(maxHaulCents))
		}
	}
	return nil
}

// acceptable lists the slots that a request takes, in order.
func (t *table) acceptable(r Request, slotAt map[string]int) ([]int, error) {
	var out []int
	if len(r.SlotIDs) > 0 {
		for _, id := range r.SlotIDs {
			s, ok := slotAt[id]
			if !ok {
				return nil, invalid("request "+r.ID+", slots", "slot %q is not in this round: name published slots", id)
			}
			out = append(out, s)
		}
		slices.Sort(out)
		return slices.Compact(out), nil
	}
	if day(r.Window.To) < day(r.Window.From) {
		return nil, invalid("request "+r.ID+", window", "the last date %s is before the first %s", r.Window.To.Format(time.DateOnly), r.Window.From.Format(time.DateOnly))
	}
	for i, s := range t.slots {
		if d := day(s.Date); d >= day(r.Window.From) && d <= day(r.Window.To) && takesPhase(r.Window, s.Phase) {
			out = append(out, i)
		}
	}
	return out, nil
}

func takesPhase(w Window, phase int) bool {
	return len(w.Phases) == 0 || slices.Contains(w.Phases, phase)
}

// setUnits measures farms and makes sure that no later product overflows: all
// of them are at most (sum of units, or dearest haul) × (kilograms that move).
func (t *table) setUnits(rule Rule) error {
	var units, move, common big.Int
	unit := make([]big.Int, len(t.farms))
	for i, f := range t.farms {
		unit[i].SetInt64(f.weight)
		if rule == BySatisfiedShare {
			unit[i].Mul(&unit[i], big.NewInt(f.asked))
		}
		common.GCD(nil, nil, &common, &unit[i])
		move.Add(&move, big.NewInt(f.asked))
	}
	for i := range t.farms {
		unit[i].Div(&unit[i], &common)
		units.Add(&units, &unit[i])
		t.farms[i].unit = unit[i].Int64()
	}
	if haul := big.NewInt((maxHaulCents + 1) * int64(len(t.slots))); haul.Cmp(&units) > 0 {
		units.Set(haul)
	}
	product := new(big.Int).Mul(&units, new(big.Int).Lsh(&move, 2))
	if product.BitLen() > 62 {
		return &TooLargeError{Units: units.String(), Kg: move.String()}
	}
	// No slot can give more than all farms ask: the clip keeps products small.
	for _, s := range t.slots {
		t.room = append(t.room, min(s.CapacityKg, move.Int64()))
	}
	return nil
}

// day numbers calendar dates.
func day(d time.Time) int64 {
	y, m, n := d.Date()
	return time.Date(y, m, n, 0, 0, 0, 0, time.UTC).Unix() / 86400
}

func dateText(d time.Time) string {
	y, m, n := d.Date()
	return fmt.Sprintf("%04d-%02d-%02d", y, m, n)
}
