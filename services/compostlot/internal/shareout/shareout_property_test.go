package shareout

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func mustShare(t interface{ Fatal(...any) }, in Round) *Result {
	out, err := ShareOut(in)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// checkFeasible checks capacity, windows, smallest amounts and sums.
func checkFeasible(t *rapid.T, in Round, out *Result) {
	given, total := map[string]int64{}, int64(0)
	lots := map[string]int64{}
	for _, s := range in.Slots {
		lots[s.ID] = s.SmallestLotKg
	}
	tab, err := newTable(in)
	if err != nil {
		t.Fatal(err)
	}
	for r, a := range out.Answers {
		req, sum := tab.requests[r], int64(0)
		for _, g := range a.Grants {
			if g.Kg < 1 || g.Kg < lots[g.SlotID] {
				t.Fatalf("%s: %d kg from %s is below its smallest lot", a.RequestID, g.Kg, g.SlotID)
			}
			if !slices.ContainsFunc(tab.arcs[tab.first[r]:tab.first[r+1]], func(x arc) bool { return tab.slots[x.slot].ID == g.SlotID }) {
				t.Fatalf("%s: slot %s is not acceptable", a.RequestID, g.SlotID)
			}
			sum += g.Kg
			given[g.SlotID] += g.Kg
		}
		if sum != a.GrantedKg || sum > req.AskedKg || sum > 0 && sum < req.leastKg() {
			t.Fatalf("%s: granted %d (grants sum to %d) of %d, least %d", a.RequestID, a.GrantedKg, sum, req.AskedKg, req.leastKg())
		}
		total += sum
	}
	for i, s := range tab.slots {
		if given[s.ID] > s.CapacityKg || out.Left[i].Kg != s.CapacityKg-given[s.ID] {
			t.Fatalf("slot %s of %d gives %d and says %d is left", s.ID, s.CapacityKg, given[s.ID], out.Left[i].Kg)
		}
	}
	if total != out.GrantedKg || total > out.Bound.MostKg {
		t.Fatalf("granted %d, stated %d, bound %d", total, out.GrantedKg, out.Bound.MostKg)
	}
}

func TestFeasibleWhateverIsAsked(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawRound(t, rapid.Bool().Draw(t, "indivisible"))
		checkFeasible(t, in, mustShare(t, in))
	})
}

func TestOrderOfInputIsIrrelevant(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawRound(t, true)
		want := mustShare(t, in)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		in.Slots, in.Requests = slices.Clone(in.Slots), slices.Clone(in.Requests)
		rng.Shuffle(len(in.Slots), func(i, j int) { in.Slots[i], in.Slots[j] = in.Slots[j], in.Slots[i] })
		rng.Shuffle(len(in.Requests), func(i, j int) { in.Requests[i], in.Requests[j] = in.Requests[j], in.Requests[i] })
		if d := cmp.Diff(want, mustShare(t, in)); d != "" {
			t.Fatal(d)
		}
	})
}

// Nothing divisible is left that anybody could still use: not directly, and
// not by moving others between slots either, which the bound says.
func TestMaximal(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawRound(t, false)
		out := mustShare(t, in)
		if out.GrantedKg != out.Bound.MostKg {
			t.Fatalf("granted %d of at most %d", out.GrantedKg, out.Bound.MostKg)
		}
		for _, a := range out.Answers {
			if a.Reason == SmallestAmount {
				t.Fatalf("%s: a divisible request is bound by %v", a.RequestID, a.Reason)
			}
		}
	})
}

// With smallest amounts, what is left is of no use to anybody as it stands.
func TestIndivisibleLeavesNothingUsable(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawRound(t, true)
		tab, err := newTable(in)
		if err != nil {
			t.Fatal(err)
		}
		p, _ := tab.search()
		if more := tab.topUp(p); more.total != p.total {
			t.Fatalf("%d kg granted, %d kg could be", p.total, more.total)
		}
	})
}

// Envy-free in the sense of max-min: where a kilogram can be moved from farm g
// to a farm f that stands lower and wants more, moving it would put g below f.
func TestNoFarmEnviesAHigherOne(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawRound(t, false)
		tab, err := newTable(in)
		if err != nil {
			t.Fatal(err)
		}
		p, _ := tab.search()
		got := tab.gotten(p)
		whole := tab.instance(tab.start(), forcedNothing(tab))
		for f := range tab.farms {
			for g := range tab.farms {
				if f == g || got[g] == 0 {
					continue
				}
				moved := slices.Clone(got)
				moved[f]++
				moved[g]--
				fl := newFlow(whole, moved, 1)
				if fl.net.Solve() != p.total {
					continue // nothing of g's can come to f
				}
				lower := Level{moved[f], tab.farms[f].unit}
				if (Level{moved[g], tab.farms[g].unit}).Compare(lower) >= 0 {
					t.Fatalf("farm %s at %d kg may envy %s at %d kg", tab.farms[f].id, got[f], tab.farms[g].id, got[g])
				}
			}
		}
	})
}

func forcedNothing(tab *table) forced {
	f, _ := tab.force(tab.start())
	return f
}

// A farm that cuts a request in parts, all with the same slots, gets what it
// got before, and so does everybody else.
func TestSplittingGainsNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawRound(t, false)
		if len(in.Requests) == 0 {
			return
		}
		before := mustShare(t, in)
		i := rapid.IntRange(0, len(in.Requests)-1).Draw(t, "which")
		whole := in.Requests[i]
		in.Requests = slices.Delete(slices.Clone(in.Requests), i, i+1)
		for left, part := whole.AskedKg, 0; left > 0; part++ {
			r := whole
			r.ID += string(rune('a' + part%26))
			r.AskedKg = left
			if part < 4 {
				r.AskedKg = rapid.Int64Range(1, left).Draw(t, "part")
			}
			left -= r.AskedKg
			in.Requests = append(in.Requests, r)
		}
		if d := cmp.Diff(before.Farms, mustShare(t, in).Farms); d != "" {
			t.Fatal(d)
		}
	})
}

// A farm that asks each slot separately, instead of letting any of them serve
// all it asks, never gets more.
func TestSplittingBySlotGainsNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawRound(t, false)
		if len(in.Requests) == 0 || len(in.Requests[0].SlotIDs) < 2 || in.Requests[0].AskedKg < 2 {
			return
		}
		r := in.Requests[0]
		before := granted(mustShare(t, in), r.Farm)
		cut := rapid.Int64Range(1, r.AskedKg-1).Draw(t, "cut")
		one, two := r, r
		one.ID, two.ID = "X1", "X2"
		one.AskedKg, two.AskedKg = cut, r.AskedKg-cut
		one.SlotIDs, two.SlotIDs = r.SlotIDs[:1], r.SlotIDs[1:]
		in.Requests = append(slices.Clone(in.Requests[1:]), one, two)
		// One kilogram of slack: rounding may fall on either side.
		if after := granted(mustShare(t, in), r.Farm); after > before+1 {
			t.Fatalf("%d kg by splitting, %d kg without", after, before)
		}
	})
}

func granted(out *Result, farm string) int64 {
	i := slices.IndexFunc(out.Farms, func(f FarmShare) bool { return f.Farm == farm })
	return out.Farms[i].GrantedKg
}

// Ten times everything gives ten times as much, but for the kilograms that
// rounding moves.
func TestScaling(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawRound(t, false)
		small := mustShare(t, in)
		const by = 10
		in.Slots, in.Requests = slices.Clone(in.Slots), slices.Clone(in.Requests)
		for i := range in.Slots {
			in.Slots[i].CapacityKg *= by
		}
		for i := range in.Requests {
			in.Requests[i].AskedKg *= by
		}
		large := mustShare(t, in)
		if large.GrantedKg != by*small.GrantedKg {
			t.Fatalf("%d kg, ten times as large %d kg", small.GrantedKg, large.GrantedKg)
		}
		for i, f := range small.Farms {
			if diff := large.Farms[i].GrantedKg - by*f.GrantedKg; diff <= -by || diff >= by {
				t.Fatalf("farm %s: %d kg, ten times as large %d kg", f.Farm, f.GrantedKg, large.Farms[i].GrantedKg)
			}
		}
	})
}
