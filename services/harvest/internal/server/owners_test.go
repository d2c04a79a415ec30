package server

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/testkit"
)

// A push right after an import, before any event has come: the owners know.
func TestPushBeforeTheNewsArrived(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := testkit.Coop()
	r.owners.rooms = []*schedulingv1.Room{room("ab-1", "alder-brook").GetRoom()}
	r.owners.crops = []*schedulingv1.Crop{whiteCrop()}
	r.owners.goods = []*orderv1.Product{product("white-2kg", "white mushroom").GetProduct()}
	got := r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3))
	if got[0].GetCropId() != "ab-1-20261001" || got[0].GetFarmId() != "alder-brook" {
		t.Errorf("pushed %v", got)
	}
	asked := r.owners.asked.Load()
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-27", 1, 2, 3))
	if n := r.owners.asked.Load(); n != asked {
		t.Errorf("asked %d times more about what is known", n-asked)
	}
	// The events that come after, find it there and go on from it.
	moved := room("ab-1", "hill-end")
	r.hear(t, coop, "scheduling", moved, &schedulingv1.CropPlanned{Crop: whiteCrop()})
	if got := r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-28", 1, 2, 3)); got[0].GetFarmId() != "hill-end" {
		t.Errorf("the event of the room was not taken: %v", got)
	}
}

// A copy that has fallen behind is no ground for a refusal.
func TestOwnersWordCountsBeforeARefusal(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.owners.rooms = []*schedulingv1.Room{room("ab-1", "alder-brook").GetRoom()}
	refilled := whiteCrop()
	refilled.Species, refilled.Version = "oyster mushroom", 4
	r.owners.crops = []*schedulingv1.Crop{refilled}
	r.owners.goods = []*orderv1.Product{product("oyster-1kg", "oyster mushroom").GetProduct(), product("white-2kg", "white mushroom").GetProduct()}
	r.push(t, coop, expect("ab-1", "oyster-1kg", "2026-11-26", 1, 2, 3))

	// A product put right since its event: the copy waits for the event, the
	// judgement does not.
	r.owners.goods[1].Species = "oyster mushroom"
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3))
	if got := r.texts(t, coop, `SELECT species FROM product WHERE product_id = 'white-2kg'`); !cmp.Equal(got, []string{"white mushroom"}) {
		t.Errorf("the copy became %q without an event", got)
	}
}

func TestOwnersCannotBeAsked(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.owners.down.Store(true)
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3))
	req := pushOf(expect("ab-9", "white-2kg", "2026-11-26", 1, 2, 3))
	_, err := r.PushExpectedPicks(testkit.Context(t, coop), req)
	refused(t, err, fault.Unavailable, "expected_picks[0].room_id")
	if f := fault.FromStatus(err); f.Reason != ReasonNotHeard {
		t.Errorf("reason %q", f.Reason)
	}
	// The same request, once the owners answer, is judged for good.
	r.owners.down.Store(false)
	_, err = r.PushExpectedPicks(testkit.Context(t, coop), req)
	refused(t, err, fault.Invalid, "expected_picks[0].room_id")
}

func TestPartsHoldEveryDay(t *testing.T) {
	t.Parallel()
	d := func(text string) day.Date {
		v, err := day.Parse(text)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	got := parts([]day.Date{d("2030-01-01"), d("2026-11-26"), d("2026-11-01"), d("1970-01-02"), d("2026-11-26")})
	want := [][2]day.Date{
		{day.First, d("1970-01-02")},
		{d("2026-10-04"), d("2026-11-26")},
		{d("2029-12-04"), d("2030-01-01")},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
