package shareout

import (
	"fmt"
	"math/rand/v2"

	"pgregory.net/rapid"
)

// drawRound draws a small round; indivisible adds smallest amounts, whole
// fills and smallest lots.
func drawRound(t *rapid.T, indivisible bool) Round {
	in := Round{Rule: Rule(rapid.IntRange(0, 1).Draw(t, "rule"))}
	slots := rapid.IntRange(1, 5).Draw(t, "slots")
	for s := range slots {
		slot := Slot{
			ID: fmt.Sprintf("S%d", s), Date: spring.AddDate(0, 0, rapid.IntRange(0, 20).Draw(t, "day")),
			Phase: rapid.IntRange(2, 3).Draw(t, "phase"), CapacityKg: rapid.Int64Range(0, 60).Draw(t, "capacity"),
		}
		if indivisible {
			slot.SmallestLotKg = rapid.SampledFrom([]int64{0, 0, 5, 15}).Draw(t, "lot")
		}
		in.Slots = append(in.Slots, slot)
	}
	weights := map[string]int64{}
	for r := range rapid.IntRange(0, 6).Draw(t, "requests") {
		farm := fmt.Sprintf("F%d", rapid.IntRange(0, 3).Draw(t, "farm"))
		if weights[farm] == 0 {
			weights[farm] = rapid.Int64Range(1, 4).Draw(t, "weight")
		}
		req := Request{ID: fmt.Sprintf("R%d", r), Farm: farm, Weight: weights[farm], AskedKg: rapid.Int64Range(1, 50).Draw(t, "asked"), HaulCents: map[string]int64{}}
		for s := range slots {
			if rapid.Bool().Draw(t, "accepts") {
				req.SlotIDs = append(req.SlotIDs, in.Slots[s].ID)
			}
			req.HaulCents[in.Slots[s].ID] = rapid.Int64Range(0, 3).Draw(t, "haul")
		}
		if len(req.SlotIDs) == 0 {
			req.Window = Window{From: spring, To: spring.AddDate(0, 0, 10), Phases: []int{2}}
		}
		if indivisible {
			req.WholeFill = rapid.IntRange(0, 3).Draw(t, "whole") == 0
			req.SmallestUsefulKg = rapid.Int64Range(0, req.AskedKg).Draw(t, "useful")
		}
		in.Requests = append(in.Requests, req)
	}
	return in
}

// bigRound is a busy spring: requests over slots with windows of about three
// weeks, five times as much asked as there is in the busiest weeks.
func bigRound(requests, slots, farms int, indivisible bool) Round {
	rng := rand.New(rand.NewPCG(7, 11))
	var in Round
	for s := range slots {
		slot := Slot{ID: fmt.Sprintf("S%03d", s), Date: spring.AddDate(0, 0, 2*s), Phase: 2 + s%2, CapacityKg: int64(20_000 + rng.IntN(40_000))}
		if indivisible {
			slot.SmallestLotKg = 1000
		}
		in.Slots = append(in.Slots, slot)
	}
	for r := range requests {
		f := r % farms
		req := Request{
			ID: fmt.Sprintf("R%04d", r), Farm: fmt.Sprintf("F%03d", f), Weight: int64(1 + f%7),
			AskedKg: int64(3000 + rng.IntN(15_000)), HaulCents: map[string]int64{},
		}
		from := spring.AddDate(0, 0, rng.IntN(2*slots))
		req.Window = Window{From: from, To: from.AddDate(0, 0, 14+rng.IntN(30))}
		if r%3 == 0 {
			req.Window.Phases = []int{2}
		}
		if indivisible {
			req.WholeFill = r%5 == 0
			req.SmallestUsefulKg = req.AskedKg / 2
		}
		for _, s := range in.Slots {
			req.HaulCents[s.ID] = int64(400 + rng.IntN(3000))
		}
		in.Requests = append(in.Requests, req)
	}
	return in
}
