package server

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/testkit"
)

// A push that waited on a phone names the version it was made from: what somebody else has
// pushed since is not written over.
func TestPushOnAnOlderVersionIsRefused(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	from := func(version, likely int64) *harvestv1.ExpectedPick {
		e := expect("ab-1", "white-2kg", "2026-11-26", likely, likely, likely)
		e.BaseVersion = proto.Int64(version)
		return e
	}
	first := pushOf(from(0, 50_000))
	if _, err := r.PushExpectedPicks(testkit.Context(t, coop), first); err != nil {
		t.Fatal(err)
	}
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 60_000, 60_000, 60_000)) // without a base: always taken
	const newest = `SELECT version::text FROM expected_pick ORDER BY 1`
	for name, tt := range map[string]struct {
		sent  *harvestv1.PushExpectedPicksRequest
		taken bool
	}{
		"the first one again":            {first, true},
		"made from none":                 {pushOf(from(0, 70_000)), false},
		"made from the first":            {pushOf(from(1, 70_000)), false},
		"the same figures as the newest": {pushOf(from(1, 60_000)), true},
	} {
		_, err := r.PushExpectedPicks(testkit.Context(t, coop), tt.sent)
		if tt.taken && err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if !tt.taken {
			refused(t, err, fault.Stale, "expected_picks[0].base_version")
		}
		if got := r.texts(t, coop, newest); !cmp.Equal(got, []string{"2"}) {
			t.Errorf("%s: the newest version is %q, want 2", name, got)
		}
	}
	// All or none: a fresh figure beside a stale one is not taken either.
	mixed := pushOf(expect("ab-2", "oyster-1kg", "2026-11-26", 1, 2, 3), from(1, 70_000))
	_, err := r.PushExpectedPicks(testkit.Context(t, coop), mixed)
	refused(t, err, fault.Stale, "expected_picks[1].base_version")
	if got := r.texts(t, coop, `SELECT pick_lot_id FROM expected_pick ORDER BY 1`); len(got) != 1 {
		t.Errorf("expected picks: %q, want one", got)
	}
	if _, err := r.PushExpectedPicks(testkit.Context(t, coop), pushOf(from(2, 70_000))); err != nil {
		t.Errorf("made from the newest: %v", err)
	}
	if got := r.texts(t, coop, newest); !cmp.Equal(got, []string{"3"}) {
		t.Errorf("the newest version is %q, want 3", got)
	}
}
