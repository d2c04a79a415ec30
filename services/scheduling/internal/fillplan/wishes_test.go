package fillplan

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestWishesAgainstEveryPlan(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		in := smallInstance(rt)
		var plans [][]Fill
		if !everyPlan(in, 3000, func(fills []Fill) { plans = append(plans, slices.Clone(fills)) }) {
			return
		}
		w := drawWishes(rt, plans)
		least := int64(math.MaxInt64)
		for _, fills := range plans {
			if w.allow(fills) {
				least = min(least, Evaluate(in, fills).M()+w.WishM(fills))
			}
		}
		got, err := Solve(context.Background(), in, Options{Steps: 30_000, Wishes: w})
		if err != nil {
			rt.Fatal(err)
		}
		if !w.allow(got.Plan.Fills) {
			rt.Fatalf("plan %v does not honour %+v", got.Plan.Fills, w)
		}
		if got.M != Evaluate(in, got.Plan.Fills).M() || got.WishM != w.WishM(got.Plan.Fills) {
			rt.Fatalf("M %d and wishes %d do not fit the plan", got.M, got.WishM)
		}
		if got.M+got.WishM != least || got.BoundM > least {
			rt.Fatalf("cost %d, bound %d, the optimum is %d", got.M+got.WishM, got.BoundM, least)
		}
	})
}

// drawWishes keeps a part of one feasible plan, forbids a part of another and
// takes a third for accepted.
func drawWishes(t *rapid.T, plans [][]Fill) *Wishes {
	plan := func(name string) []Fill { return plans[rapid.IntRange(0, len(plans)-1).Draw(t, name)] }
	w := &Wishes{Accepted: plan("accepted"), ChangeM: rapid.Int64Range(0, 50_000_000).Draw(t, "change"), ChargeM: map[Fill]int64{}}
	for _, f := range plan("keep") {
		if rapid.Bool().Draw(t, "kept") {
			w.Keep = append(w.Keep, f)
		}
	}
	for _, f := range plan("forbid") {
		if !slices.Contains(w.Keep, f) {
			w.Forbid = append(w.Forbid, f)
		}
	}
	for _, f := range plan("charge") {
		w.ChargeM[f] = rapid.Int64Range(-80_000_000, 80_000_000).Draw(t, "charged")
	}
	return w
}

func (w *Wishes) allow(fills []Fill) bool {
	for _, f := range w.Keep {
		if !slices.Contains(fills, f) {
			return false
		}
	}
	return !slices.ContainsFunc(fills, func(f Fill) bool { return slices.Contains(w.Forbid, f) })
}

func TestAcceptedPlanIsLeftAloneWhenChangesAreDear(t *testing.T) {
	t.Parallel()
	in := reference(t, "tiny-s1")
	first := solve(t, in, Options{Steps: 2_000, Seed: 1})
	again := solve(t, in, Options{Steps: 2_000, Seed: 2, Wishes: &Wishes{Accepted: first.Plan.Fills, ChangeM: 10_000_000_000}})
	if !slices.Equal(first.Plan.Fills, again.Plan.Fills) || again.WishM != 0 {
		t.Errorf("the plan changed, wishes cost %d", again.WishM)
	}
	free := solve(t, in, Options{Steps: 2_000, Seed: 2, Wishes: &Wishes{Accepted: first.Plan.Fills}})
	if free.WishM != 0 {
		t.Errorf("free changes cost %d", free.WishM)
	}
}

func TestWishesRefused(t *testing.T) {
	t.Parallel()
	in := decodeSample(t)
	for name, c := range map[string]struct {
		wishes Wishes
		plan   bool // a *PlanError is wanted, otherwise a *WishError
	}{
		"keep and forbid":          {Wishes{Keep: []Fill{{0, 0, 0}}, Forbid: []Fill{{0, 0, 0}}}, false},
		"keep what overlaps":       {Wishes{Keep: []Fill{{0, 0, 0}, {0, 0, 1}}}, true},
		"keep beyond the yard":     {Wishes{Keep: []Fill{{0, 0, 1}, {1, 0, 1}}}, true},
		"keep before it is free":   {Wishes{Keep: []Fill{{1, 0, 0}}}, true},
		"keep no such room":        {Wishes{Keep: []Fill{{9, 0, 0}}}, false},
		"forbid no such programme": {Wishes{Forbid: []Fill{{0, 4, 0}}}, false},
		"accepted no such week":    {Wishes{Accepted: []Fill{{0, 0, 3}}}, false},
		"charge no such room":      {Wishes{ChargeM: map[Fill]int64{{0, 0, -1}: 1}}, false},
		"charge too large":         {Wishes{ChargeM: map[Fill]int64{{0, 0, 0}: math.MinInt64}}, false},
		"change below zero":        {Wishes{ChangeM: -1}, false},
		"change too dear":          {Wishes{ChangeM: math.MaxInt64}, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := Solve(context.Background(), in, Options{Steps: 10, Wishes: &c.wishes})
			var wish *WishError
			var plan *PlanError
			if errors.As(err, &plan) != c.plan || errors.As(err, &wish) == c.plan {
				t.Errorf("got %v", err)
			}
			if err != nil && err.Error() == "" {
				t.Error("the error says nothing")
			}
		})
	}
}
