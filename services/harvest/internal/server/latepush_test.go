package server

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

// The cut-off is 16:00 on the clocks of the co-op, the day before picking.
func TestPushAfterTheCutOffIsMarkedLate(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.hear(t, coop, "scheduling", &schedulingv1.CoopSaved{Coop: &schedulingv1.Coop{Name: "Stillwater", TimeZone: "Pacific/Auckland", CurrencyCode: "NZD"}, Version: 1})
	tests := []struct {
		at   string // in Auckland, 13 hours ahead of UTC
		day  string
		late bool
	}{
		{"2026-11-25T15:59:00+13:00", "2026-11-26", false},
		{"2026-11-25T16:00:00+13:00", "2026-11-26", false},
		{"2026-11-25T16:00:01+13:00", "2026-11-26", true},
		{"2026-11-25T16:00:02+13:00", "2026-11-27", false},
		{"2026-11-26T09:00:00+13:00", "2026-11-26", true},
		{"2026-11-26T09:00:01+13:00", "2026-11-12", true}, // what was expected two weeks ago, written down now
	}
	for i, tt := range tests {
		at, err := time.Parse(time.RFC3339, tt.at)
		if err != nil {
			t.Fatal(err)
		}
		r.clock.Set(at.UTC())
		n := int64(i + 1)
		if got := r.push(t, coop, expect("ab-1", "white-2kg", tt.day, n, n, n))[0]; got.GetLate() != tt.late {
			t.Errorf("at %s for %s: late is %v", tt.at, tt.day, got.GetLate())
		}
	}
}

func TestLargePushesCanBeConfirmed(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	req := pushOf(expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 900_000_000))
	_, err := r.PushExpectedPicks(testkit.Context(t, coop), req)
	refused(t, err, fault.Invalid, "expected_picks[0].high_grams")
	req = pushOf(req.GetExpectedPicks()...)
	req.ConfirmLarge = true
	if _, err := r.PushExpectedPicks(testkit.Context(t, coop), req); err != nil {
		t.Errorf("confirmed: %v", err)
	}
}

func TestStreamIsOnePush(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	id := ids.New()
	send := func(list ...*harvestv1.ExpectedPick) (*harvestv1.StreamExpectedPicksResponse, error) {
		stream, err := r.StreamExpectedPicks(testkit.Context(t, coop))
		if err != nil {
			t.Fatal(err)
		}
		for i, e := range list {
			m := &harvestv1.StreamExpectedPicksRequest{ExpectedPick: e}
			if i == 0 {
				m.RequestId = id
			}
			if stream.Send(m) != nil {
				break // the answer says why
			}
		}
		return stream.CloseAndRecv()
	}
	a, b := expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3), expect("he-1", "white-2kg", "2026-11-26", 4, 5, 6)
	_, err := send(a, expect("ab-9", "white-2kg", "2026-11-26", 4, 5, 6))
	refused(t, err, fault.Invalid, "expected_picks[1].room_id")
	if got := r.names(t, coop); len(got) != 0 {
		t.Errorf("half a stream told %q", got)
	}
	first, err := send(a, b)
	if err != nil || len(first.GetExpectedPicks()) != 2 || first.GetExpectedPicks()[1].GetVersion() != 1 {
		t.Fatalf("%v (%v)", first, err)
	}
	again, err := send(a, b)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(first, again, protocmp.Transform()); diff != "" {
		t.Errorf("sent again (-first +again):\n%s", diff)
	}
	if _, err := send(a); fault.KindOf(err) != fault.Exists {
		t.Errorf("the id with another body: %v", err)
	}
	_, err = send()
	refused(t, err, fault.Invalid, "expected_pick")
}

func TestHistoryOfAFigure(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	for _, n := range []int64{5, 7, 6} {
		r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", n, n, n))
	}
	req := &harvestv1.ListExpectedPickVersionsRequest{PickLotId: "ab-1-white-2kg-20261126"}
	got, err := r.ListExpectedPickVersions(testkit.Context(t, grower(coop, "alder-brook")), req)
	if err != nil {
		t.Fatal(err)
	}
	var likely []int64
	for i, e := range got.GetExpectedPicks() {
		likely = append(likely, e.GetLikelyGrams())
		if e.GetVersion() != int64(i+1) {
			t.Errorf("version %d stands at %d", e.GetVersion(), i)
		}
	}
	if !cmp.Equal(likely, []int64{5, 7, 6}) {
		t.Errorf("likely %v", likely)
	}
	_, err = r.ListExpectedPickVersions(testkit.Context(t, grower(coop, "hill-end")), req)
	refused(t, err, fault.Forbidden)
	_, err = r.ListExpectedPickVersions(testkit.Context(t, coop), &harvestv1.ListExpectedPickVersionsRequest{PickLotId: "nothing"})
	refused(t, err, fault.NotFound)
}
