package server

import (
	"log/slog"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

// used are the events that tell what is used, in order.
func (r *rig) used(t testing.TB, coop identity.Identity) []*harvestv1.ExpectedPickPushed {
	t.Helper()
	var out []*harvestv1.ExpectedPickPushed
	for _, m := range r.told(t, coop) {
		if e, ok := m.(*harvestv1.ExpectedPickPushed); ok && e.UsedLikelyGrams != nil {
			out = append(out, e)
		}
	}
	return out
}

func TestWhatIsUsedIsToldOfEachPush(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	teller := NewTeller(r.harvest, slog.New(slog.DiscardHandler), time.Hour)
	tell := func(want int) {
		t.Helper()
		if n, err := teller.Tell(t.Context(), coop.CoopID, roughly); err != nil || n != want {
			t.Errorf("told of %d things (err %v), want %d", n, err, want)
		}
	}
	tell(0)
	// Of the oyster crop there is no model: the push is used as it is.
	pushed := r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 90_000, 100_000, 110_000), expect("ab-2", "oyster-1kg", "2026-11-26", 1, 2, 3))
	tell(1)
	tell(0)
	got := r.used(t, coop)
	if len(got) != 1 || !cmp.Equal(got[0].GetExpectedPick().GetPickLotId(), pushed[0].GetPickLotId()) || got[0].GetExpectedPick().GetVersion() != 1 || !got[0].GetUsedAt().AsTime().Equal(noon) {
		t.Fatalf("told %v", got)
	}
	outlooks, err := r.ListOutlooks(testkit.Context(t, coop), &harvestv1.ListOutlooksRequest{FromDate: "2026-11-26", ToDate: "2026-11-26"})
	if err != nil {
		t.Fatal(err)
	}
	if u := outlooks.GetOutlooks()[0].GetUsed(); u.GetLowGrams() != got[0].GetUsedLowGrams() || u.GetLikelyGrams() != got[0].GetUsedLikelyGrams() || u.GetHighGrams() != got[0].GetUsedHighGrams() || u.GetLowGrams() == 90_000 {
		t.Errorf("told %v, shown %v", got[0], outlooks.GetOutlooks()[0])
	}
	// A revision is told of with its version; what is picked changes the model, so
	// that an old push is told of again.
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 90_000, 100_001, 110_000))
	tell(1)
	for day := 8; day <= 12; day++ {
		r.pick(t, coop, "ab-1", "white-2kg", time.Date(2026, time.November, day, 0, 0, 0, 0, time.UTC).Format(time.DateOnly), 40_000)
	}
	tell(1)
	tell(0)
	got = r.used(t, coop)
	last := got[len(got)-1]
	if len(got) != 3 || last.GetExpectedPick().GetVersion() != 2 || last.GetUsedLikelyGrams() >= got[1].GetUsedLikelyGrams() || !last.GetUsedAt().AsTime().After(got[1].GetUsedAt().AsTime()) {
		t.Errorf("after a poor break: %v", got)
	}
}

func TestHowALotKeepsIsTold(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	ctx := testkit.Context(t, coop)
	teller := NewTeller(r.harvest, slog.New(slog.DiscardHandler), time.Hour)
	if _, err := r.SaveColdStore(ctx, &harvestv1.SaveColdStoreRequest{RequestId: ids.New(), Store: &harvestv1.ColdStore{StoreId: "ab-cold", FarmId: "alder-brook", Name: "Cold"}}); err != nil {
		t.Fatal(err)
	}
	if _, err := r.RecordPick(ctx, &harvestv1.RecordPickRequest{RequestId: ids.New(), Pick: &harvestv1.Pick{
		RoomId: "ab-1", ProductId: "white-2kg", Date: "2026-11-25", GrossGrams: 9000, TareGrams: 1000, StoreId: "ab-cold",
	}}); err != nil {
		t.Fatal(err)
	}
	read := func(tenths int32) {
		t.Helper()
		r.clock.Advance(time.Minute)
		if _, err := r.RecordStoreReadings(ctx, &harvestv1.RecordStoreReadingsRequest{RequestId: ids.New(), StoreId: "ab-cold", Readings: []*harvestv1.StoreReading{
			{Time: timestamppb.New(r.clock.Now()), AirTenthsC: tenths},
		}}); err != nil {
			t.Fatal(err)
		}
		if _, err := teller.Tell(t.Context(), coop.CoopID, roughly); err != nil {
			t.Fatal(err)
		}
	}
	stored := func() (out []*harvestv1.PickLot) {
		for _, m := range r.told(t, coop) {
			if e, ok := m.(*harvestv1.PickLotStored); ok {
				out = append(out, e.GetPickLot())
			}
		}
		return out
	}
	if _, err := teller.Tell(t.Context(), coop.CoopID, roughly); err != nil || len(stored()) != 0 {
		t.Fatalf("without a reading: %v (err %v)", stored(), err)
	}
	read(12)
	read(14) // the play of the cooling
	read(90)
	got := stored()
	if len(got) != 2 || got[0].GetStoreTemperatureCelsius() != 1.2 || got[1].GetStoreTemperatureCelsius() != 9 || got[0].GetVersion() != 3 || got[1].GetVersion() != 4 {
		t.Fatalf("told %v", got)
	}
	if cold, warm := got[0].GetKeepsUntilDate(), got[1].GetKeepsUntilDate(); cold <= warm || warm < "2026-11-25" {
		t.Errorf("keeps until %s at 1.2 °C and until %s at 9 °C", cold, warm)
	}
	list, err := r.ListPickLots(ctx, &harvestv1.ListPickLotsRequest{FromDate: "2026-11-25", ToDate: "2026-11-25"})
	if err != nil || list.GetPickLots()[0].GetStoreTemperatureCelsius() != 9 {
		t.Errorf("listed %v (err %v)", list, err)
	}
}

// The teller sees a push by itself.
func TestTellerFollowsPushes(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	teller := NewTeller(r.harvest, slog.New(slog.DiscardHandler), time.Hour)
	if err := teller.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	<-teller.Started()
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 90_000, 100_000, 110_000))
	testkit.Eventually(t, "what is used of the push is told", func() bool { return len(r.used(t, coop)) == 1 })
	if err := teller.Stop(t.Context()); err != nil {
		t.Error(err)
	}
}
