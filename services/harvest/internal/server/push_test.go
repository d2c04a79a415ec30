package server

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/testkit"
)

func TestPushMakesVersions(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	ida := grower(coop, "alder-brook")
	got := r.push(t, ida, expect("ab-1", "white-2kg", "2026-11-26", 80000, 100000, 120000), expect("ab-2", "oyster-1kg", "2026-11-26", 0, 5000, 9000))
	want := []*harvestv1.ExpectedPick{
		{
			RoomId: "ab-1", FarmId: "alder-brook", CropId: "ab-1-20261001", ProductId: "white-2kg", Date: "2026-11-26",
			LowGrams: 80000, LikelyGrams: 100000, HighGrams: 120000, Version: 1,
			Source: harvestv1.ExpectedPickSource_EXPECTED_PICK_SOURCE_GROWER, PushedBy: "Ida of alder-brook", PushedAt: timestamppb.New(noon), PickLotId: "ab-1-white-2kg-20261126",
		},
		{
			RoomId: "ab-2", FarmId: "alder-brook", CropId: "ab-2-20261020", ProductId: "oyster-1kg", Date: "2026-11-26",
			LikelyGrams: 5000, HighGrams: 9000, Version: 1,
			Source: harvestv1.ExpectedPickSource_EXPECTED_PICK_SOURCE_GROWER, PushedBy: "Ida of alder-brook", PushedAt: timestamppb.New(noon), PickLotId: "ab-2-oyster-1kg-20261126",
		},
	}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("first push (-want +got):\n%s", diff)
	}

	// The coordinator corrects one figure; the other is equal and stays.
	r.clock.Advance(time.Hour)
	got = r.push(t, coop, expect("ab-2", "oyster-1kg", "2026-11-26", 0, 5000, 9000), expect("ab-1", "white-2kg", "2026-11-26", 60000, 70000, 90000))
	second := want[0]
	second.LowGrams, second.LikelyGrams, second.HighGrams, second.Version = 60000, 70000, 90000, 2
	second.PushedBy, second.PushedAt = coop.Name, timestamppb.New(noon.Add(time.Hour))
	if diff := cmp.Diff([]*harvestv1.ExpectedPick{want[1], second}, got, protocmp.Transform()); diff != "" {
		t.Errorf("second push (-want +got):\n%s", diff)
	}
	var told []*harvestv1.ExpectedPick
	for _, m := range r.told(t, coop) {
		told = append(told, m.(*harvestv1.ExpectedPickPushed).GetExpectedPick())
	}
	if len(told) != 3 || told[0].GetVersion() != 1 || !cmp.Equal(told[2], second, protocmp.Transform()) {
		t.Errorf("told %v, want both first figures and the correction", told)
	}
	list, err := r.ListExpectedPicks(testkit.Context(t, coop), &harvestv1.ListExpectedPicksRequest{FromDate: "2026-11-26", ToDate: "2026-11-26"})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]*harvestv1.ExpectedPick{second, want[1]}, list.GetExpectedPicks(), protocmp.Transform()); diff != "" {
		t.Errorf("list (-want +got):\n%s", diff)
	}
	if got := r.texts(t, coop, `SELECT pick_lot_id || ' ' || version || ' ' || likely_grams FROM expected_pick_version ORDER BY 1`); !cmp.Equal(got, []string{
		"ab-1-white-2kg-20261126 1 100000", "ab-1-white-2kg-20261126 2 70000", "ab-2-oyster-1kg-20261126 1 5000",
	}) {
		t.Errorf("history: %q", got)
	}
}

// texts runs a query of one text column in a co-op.
func (r *rig) texts(t testing.TB, coop identity.Identity, sql string) (out []string) {
	t.Helper()
	err := pg.InReadTx(t.Context(), r.pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, sql)
		if err != nil {
			return err
		}
		out, err = pgx.CollectRows(rows, pgx.RowTo[string])
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestPushRefusesNamingTheField(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	good := expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3)
	tests := []struct {
		name  string
		push  *harvestv1.ExpectedPick
		field string
		word  string
	}{
		{"unknown room", expect("ab-9", "white-2kg", "2026-11-26", 1, 2, 3), "room_id", "list of rooms"},
		{"no crop in the room that day", expect("ab-1", "white-2kg", "2027-01-15", 1, 2, 3), "date", "no crop stands in room ab-1"},
		{"beyond the horizon", expect("ab-1", "white-2kg", "2027-01-25", 1, 2, 3), "date", "more than 60 days ahead"},
		{"ten times what the room can bear", expect("ab-1", "white-2kg", "2026-11-27", 1, 2, 900_000_000), "high_grams", "confirm_large"},
		{"a stage at which the crop is not borne", expect("ab-1", "white-flat-2kg", "2026-11-26", 1, 2, 3), "product_id", "borne closed, veiled, open"},
		{"unknown product", expect("ab-1", "shiitake-1kg", "2026-11-26", 1, 2, 3), "product_id", "no product shiitake-1kg"},
		{"a species that the crop cannot bear", expect("ab-1", "oyster-1kg", "2026-11-26", 1, 2, 3), "product_id", "bears white mushroom"},
		{"low over likely", expect("ab-1", "white-2kg", "2026-11-27", 3, 2, 3), "low_grams", "low 3 g is more"},
		{"likely over high", expect("ab-1", "white-2kg", "2026-11-27", 1, 4, 3), "high_grams", "high 3 g is less"},
		{"a day that is none", expect("ab-1", "white-2kg", "2026-02-30", 1, 2, 3), "date", "2026-02-30"},
		{"not a day", expect("ab-1", "white-2kg", "30.11.2026", 1, 2, 3), "date", ""},
		{"negative", expect("ab-1", "white-2kg", "2026-11-27", -1, 2, 3), "low_grams", ""},
		{"not an id", expect("Room 1", "white-2kg", "2026-11-27", 1, 2, 3), "room_id", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := r.PushExpectedPicks(testkit.Context(t, coop), pushOf(good, tt.push))
			refused(t, err, fault.Invalid, "expected_picks[1]."+tt.field)
			if !strings.Contains(fmt.Sprint(err), tt.word) {
				t.Errorf("%v does not say %q", err, tt.word)
			}
		})
	}
	if got := r.names(t, coop); len(got) != 0 {
		t.Errorf("refused pushes told %q: a push is taken whole or not at all", got)
	}
}

func TestPushTellsAllThatIsWrongAtOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	_, err := r.PushExpectedPicks(testkit.Context(t, coop), pushOf(
		expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3),
		expect("ab-9", "morel-1kg", "2026-11-26", 5, 2, 3),
		expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3)))
	refused(t, err, fault.Invalid, "expected_picks[1].low_grams", "expected_picks[1].product_id", "expected_picks[1].room_id", "expected_picks[2]")
}

func TestPushIsTakenOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	ctx := testkit.Context(t, coop)
	req := pushOf(expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3))
	first, err := r.PushExpectedPicks(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 4, 5, 6))
	again, err := r.PushExpectedPicks(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(first, again, protocmp.Transform()); diff != "" {
		t.Errorf("a replay answers otherwise (-first +again):\n%s", diff)
	}
	if got := r.names(t, coop); len(got) != 2 {
		t.Errorf("told %q, want each push once", got)
	}
	req.ExpectedPicks[0].HighGrams = 9
	if _, err := r.PushExpectedPicks(ctx, req); fault.FromStatus(err).Reason != requestlog.ReasonReused {
		t.Errorf("the id with another body: %v", err)
	}
}

// Pushes for one room, product and day at once: each gets a version of its own.
func TestPushesAtOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	const pushers = 8
	versions := make([]int64, pushers)
	errs := make([]error, pushers)
	var wg sync.WaitGroup
	for i := range pushers {
		wg.Add(1)
		go func() {
			defer wg.Done()
			n := int64(i + 1)
			resp, err := r.PushExpectedPicks(testkit.Context(t, coop), pushOf(expect("ab-1", "white-2kg", "2026-11-26", n, n, n)))
			errs[i] = err
			if err == nil {
				versions[i] = resp.GetExpectedPicks()[0].GetVersion()
			}
		}()
	}
	wg.Wait()
	seen := map[int64]bool{}
	for i, v := range versions {
		if errs[i] != nil {
			t.Fatal(errs[i])
		}
		seen[v] = true
	}
	if len(seen) != pushers || !seen[1] || !seen[pushers] {
		t.Errorf("versions %v, want 1 to %d", versions, pushers)
	}
}

func TestGrowerPushesForTheOwnFarmOnly(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	ida := grower(coop, "alder-brook")
	_, err := r.PushExpectedPicks(testkit.Context(t, ida), pushOf(
		expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3), expect("he-1", "white-2kg", "2026-11-26", 1, 2, 3)))
	refused(t, err, fault.Forbidden, "expected_picks[1].room_id")
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3), expect("he-1", "white-2kg", "2026-11-26", 4, 5, 6))

	span := &harvestv1.ListExpectedPicksRequest{FromDate: "2026-11-01", ToDate: "2026-11-30"}
	list, err := r.ListExpectedPicks(testkit.Context(t, ida), span)
	if err != nil || len(list.GetExpectedPicks()) != 1 || list.GetExpectedPicks()[0].GetRoomId() != "ab-1" {
		t.Errorf("Ida sees %v (%v)", list, err)
	}
	supply, err := r.GetSupply(testkit.Context(t, ida), &harvestv1.GetSupplyRequest{FromDate: "2026-11-01", ToDate: "2026-11-30"})
	if err != nil || len(supply.GetDays()) != 1 || supply.GetDays()[0].GetLikelyGrams() != 2 {
		t.Errorf("Ida's supply is %v (%v)", supply, err)
	}
	span.FarmId = "hill-end"
	_, err = r.ListExpectedPicks(testkit.Context(t, ida), span)
	refused(t, err, fault.Forbidden)
	list, err = r.ListExpectedPicks(testkit.Context(t, coop), span)
	if err != nil || len(list.GetExpectedPicks()) != 1 || list.GetExpectedPicks()[0].GetRoomId() != "he-1" {
		t.Errorf("the coordinator sees of hill-end %v (%v)", list, err)
	}
}

// Two ways to read one code: the second is refused.
func TestLotCodeIsOfOneRoomAndProduct(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	other := whiteCrop()
	other.CropId, other.RoomId = "ab-1-white-20261001", "ab-1-white"
	r.owners.rooms = append(r.owners.rooms, room("ab-1-white", "alder-brook").GetRoom())
	r.owners.crops = append(r.owners.crops, other)
	r.owners.goods = append(r.owners.goods, product("2kg", "white mushroom").GetProduct())
	a, b := expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3), expect("ab-1-white", "2kg", "2026-11-26", 1, 2, 3)
	_, err := r.PushExpectedPicks(testkit.Context(t, coop), pushOf(a, b))
	refused(t, err, fault.Exists)
	r.push(t, coop, a)
	_, err = r.PushExpectedPicks(testkit.Context(t, coop), pushOf(b))
	refused(t, err, fault.Exists)
}
