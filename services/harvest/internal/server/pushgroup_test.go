package server

import (
	"fmt"
	"sync"
	"testing"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/testkit"
)

// Pushes that are written together have the answers that they would have alone:
// good ones, refused ones, another farm's, the same request twice, and one that
// the owners must be asked about.
func TestPushesTogetherAreAnsweredAsAlone(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.owners.rooms = append(r.owners.rooms, room("ab-7", "alder-brook").GetRoom())
	late := whiteCrop()
	late.CropId, late.RoomId = "ab-7-20261001", "ab-7"
	r.owners.crops = append(r.owners.crops, late)
	ida := grower(coop, "alder-brook")
	type want struct {
		who  identity.Identity
		req  *harvestv1.PushExpectedPicksRequest
		kind fault.Kind // of the refusal; Internal stands for none
	}
	var all []want
	for d := 1; d <= 12; d++ {
		date := fmt.Sprintf("2026-11-%02d", d+10)
		good := pushOf(expect("ab-1", "white-2kg", date, 1, 2, 3))
		all = append(all,
			want{ida, good, 0}, want{ida, good, 0}, // sent twice
			want{coop, pushOf(expect("he-1", "white-2kg", date, 4, 5, 6)), 0},
			want{ida, pushOf(expect("he-1", "white-2kg", date, 7, 8, 9)), fault.Forbidden},
			want{coop, pushOf(expect("ab-1", "oyster-1kg", date, 7, 8, 9)), fault.Invalid},
			want{coop, pushOf(expect("ab-7", "white-2kg", date, 7, 8, 9)), 0})
	}
	errs := make([]error, len(all))
	var wg sync.WaitGroup
	for i, w := range all {
		wg.Add(1)
		go func() {
			defer wg.Done()
			var resp *harvestv1.PushExpectedPicksResponse
			resp, errs[i] = r.PushExpectedPicks(testkit.Context(t, w.who), w.req)
			if errs[i] == nil && (len(resp.GetExpectedPicks()) != 1 || resp.GetExpectedPicks()[0].GetLikelyGrams() != w.req.GetExpectedPicks()[0].GetLikelyGrams() || resp.GetExpectedPicks()[0].GetPushedBy() != nameOf(w.who)) {
				errs[i] = fmt.Errorf("answered with %v", resp)
			}
		}()
	}
	wg.Wait()
	for i, w := range all {
		if w.kind == 0 && errs[i] != nil || w.kind != 0 && fault.KindOf(errs[i]) != w.kind {
			t.Errorf("%v: %v, want %v", w.req.GetExpectedPicks(), errs[i], w.kind)
		}
	}
	told := map[string]int{}
	for _, m := range r.told(t, coop) {
		told[m.(*harvestv1.ExpectedPickPushed).GetExpectedPick().GetPickLotId()]++
	}
	for lot, n := range told {
		if n != 1 {
			t.Errorf("%s was told of %d times", lot, n)
		}
	}
	if len(told) != 36 {
		t.Errorf("told of %d lots, want 36", len(told))
	}
}
