package server

import (
	"fmt"
	"sync"
	"testing"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/testkit"
)

// A hold that comes while lots are being opened misses none of them.
func TestHoldMissesNoLotBeingOpened(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.fill(t, coop)
	const pushers, days = 4, 6
	errs := make(chan error, pushers*days)
	var wg sync.WaitGroup
	for p := range pushers {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for d := range days {
				date := fmt.Sprintf("2026-11-%02d", 1+p*days+d)
				_, err := r.PushExpectedPicks(testkit.Context(t, coop), pushOf(expect("ab-1", "white-2kg", date, 1, 2, 3)))
				errs <- err
			}
		}()
	}
	for range pushers { // some pushes are done, others are not
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
	r.hear(t, coop, "compostlot", &compostlotv1.LotHeld{Lot: compost("qe-26-37", onHold, 5)})
	wg.Wait()
	for range pushers * (days - 1) {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
	if got := r.heldLots(t, coop); len(got) != pushers*days {
		t.Errorf("%d of %d lots are held: %q", len(got), pushers*days, got)
	}
	newest := map[string]*harvestv1.PickLot{}
	for _, m := range r.told(t, coop) {
		if e, ok := m.(*harvestv1.PickLotHeld); ok {
			newest[e.GetPickLot().GetPickLotId()] = e.GetPickLot()
		}
	}
	for code, l := range newest {
		if !l.GetHeld() {
			t.Errorf("%s was last told of as free", code)
		}
	}
	if len(newest) != pushers*days {
		t.Errorf("told of %d held lots, want %d", len(newest), pushers*days)
	}
}

// BenchmarkPush measures pushes of one figure from the call to the answer, by
// one caller, going round the days of a month.
func BenchmarkPush(b *testing.B) {
	r := newRig(b)
	coop := r.settle(b)
	ctx := testkit.Context(b, coop)
	n := int64(0)
	for b.Loop() {
		n++
		if _, err := r.PushExpectedPicks(ctx, pushOf(expect("ab-1", "white-2kg", fmt.Sprintf("2026-11-%02d", 1+n%28), n, n, n))); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "pushes/s")
}
