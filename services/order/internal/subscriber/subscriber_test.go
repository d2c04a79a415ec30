package subscriber_test

import (
	"context"
	"errors"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/order/internal/subscriber"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

var noon = time.Date(2026, time.November, 25, 12, 0, 0, 0, time.UTC)

// apply has the handlers take one event, as a consumer would.
func apply(pool *pgxpool.Pool, coop identity.Identity, handlers map[string]inbox.Handler, event proto.Message) error {
	payload, err := proto.Marshal(event)
	if err != nil {
		return err
	}
	m := inbox.Message{ID: ids.New(), CoopID: coop.CoopID, Type: string(event.ProtoReflect().Descriptor().FullName()), Time: noon, Payload: payload}
	handle := handlers[m.Type]
	if handle == nil {
		return errors.New("nobody takes " + m.Type)
	}
	ctx := identity.With(context.Background(), identity.Identity{CoopID: coop.CoopID, Role: identity.Service})
	return pg.InTx(ctx, pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error { return handle(ctx, tx, m) })
}

// row is a row of supply as text, empty where there is nothing.
type row struct{ Lot, Low, Likely, High, Push, Picked, Held, Reason, Version, Used, Keeps string }

func supply(pool *pgxpool.Pool, coop identity.Identity) (rows []row, err error) {
	err = pg.InReadTx(context.Background(), pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		found, err := tx.Query(ctx, `
			SELECT pick_lot_id, coalesce(low_grams::text, ''), coalesce(likely_grams::text, ''), coalesce(high_grams::text, ''), push_version::text,
				coalesce(picked_grams::text, ''), held::text, hold_reason, lot_version::text,
				coalesce(used_low_grams || ' ' || used_likely_grams || ' ' || used_high_grams, ''), coalesce(store_celsius || ' ' || keeps_until, '')
			FROM supply ORDER BY pick_lot_id`)
		if err != nil {
			return err
		}
		rows, err = pgx.CollectRows(found, pgx.RowToStructByPos[row])
		return err
	})
	return rows, err
}

func pushed(version, likely int64) *harvestv1.ExpectedPickPushed {
	return &harvestv1.ExpectedPickPushed{ExpectedPick: &harvestv1.ExpectedPick{
		RoomId: "alder-1", FarmId: "alder", CropId: "alder-1-20261001", ProductId: "white", Date: "2026-11-26",
		LowGrams: likely - 1, LikelyGrams: likely, HighGrams: likely + 1, Version: version, PushedBy: "Grower",
		PushedAt: timestamppb.New(noon), PickLotId: "alder-1-white-20261126",
	}}
}

// using adds what harvest uses of a push, as it saw it so many minutes after noon.
func using(e *harvestv1.ExpectedPickPushed, grams int64, minutes int) *harvestv1.ExpectedPickPushed {
	e.UsedLowGrams, e.UsedLikelyGrams, e.UsedHighGrams = proto.Int64(grams-2), &grams, proto.Int64(grams+2)
	e.UsedAt = timestamppb.New(noon.Add(time.Duration(minutes) * time.Minute))
	return e
}

// stored adds how a lot is kept.
func stored(l *harvestv1.PickLot, celsius float64, until string) *harvestv1.PickLotStored {
	l.StoreTemperatureCelsius, l.KeepsUntilDate = &celsius, until
	return &harvestv1.PickLotStored{PickLot: l}
}

func lot(version, grams int64, held bool, reason string) *harvestv1.PickLot {
	return &harvestv1.PickLot{
		PickLotId: "alder-1-white-20261126", FarmId: "alder", RoomId: "alder-1", CropId: "alder-1-20261001", ProductId: "white",
		Date: "2026-11-26", NetGrams: grams, Held: held, HoldReason: reason, Version: version,
	}
}

// day is what harvest tells of a lot in the course of a day, oldest first.
func day() []proto.Message {
	return []proto.Message{
		using(pushed(1, 8000), 7000, 0), pushed(2, 9000), using(pushed(2, 9000), 8800, 5), using(pushed(2, 9000), 8600, 6),
		&harvestv1.PickRecorded{PickLot: lot(1, 3000, false, "")},
		&harvestv1.PickLotHeld{PickLot: lot(2, 3000, true, "smell")},
		&harvestv1.PickRecorded{PickLot: lot(3, 7000, true, "smell")},
		pushed(3, 7500), using(pushed(3, 7500), 7300, 10), using(pushed(3, 7500), 7200, 11),
		&harvestv1.PickLotHeld{PickLot: lot(4, 7000, false, "")},
		stored(lot(5, 7000, false, ""), 1.5, "2026-12-01"), stored(lot(6, 7000, false, ""), 9, "2026-11-28"),
	}
}

var evening = []row{{Lot: "alder-1-white-20261126", Low: "7499", Likely: "7500", High: "7501", Push: "3", Picked: "7000", Held: "false", Version: "6", Used: "7198 7200 7202", Keeps: "9 2026-11-28"}}

// Whatever comes twice or out of order, the supply ends as it does in order.
func TestSupplyEndsTheSameInAnyOrder(t *testing.T) {
	t.Parallel()
	pool := testkit.Pool(t, store.Schema())
	rapid.Check(t, func(t *rapid.T) {
		coop := testkit.Coop()
		twice := rapid.SliceOfN(rapid.SampledFrom(day()), 0, 3).Draw(t, "twice")
		events := rapid.Permutation(append(day(), twice...)).Draw(t, "events")
		for _, e := range events {
			if err := apply(pool, coop, subscriber.Harvest(), e); err != nil {
				t.Fatal(err)
			}
		}
		got, err := supply(pool, coop)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(evening, got); diff != "" {
			t.Fatalf("(-want +got):\n%s", diff)
		}
	})
}

// A lot of which all was thrown away has nothing to sell; it is not one still to be picked.
func TestADiscardedLotIsGone(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, store.Schema()), testkit.Coop()
	gone := lot(2, 0, false, "")
	gone.Picks, gone.DiscardedGrams = 1, 3000
	for _, e := range []proto.Message{
		pushed(1, 8000), &harvestv1.StockChanged{PickLot: gone}, &harvestv1.PickRecorded{PickLot: lot(1, 3000, false, "")},
	} {
		if err := apply(pool, coop, subscriber.Harvest(), e); err != nil {
			t.Fatal(err)
		}
	}
	got, err := supply(pool, coop)
	if err != nil || len(got) != 1 || got[0].Picked != "0" || got[0].Version != "2" {
		t.Errorf("supply is %v (%v)", got, err)
	}
}

// What is not known stays absent: a lot that was pushed has no pick, one held before its first
// pick has neither.
func TestAbsentStaysAbsent(t *testing.T) {
	t.Parallel()
	pool := testkit.Pool(t, store.Schema())
	cases := []struct {
		event proto.Message
		want  row
	}{
		{pushed(1, 8000), row{Lot: "alder-1-white-20261126", Low: "7999", Likely: "8000", High: "8001", Push: "1", Held: "false", Version: "0"}},
		{
			&harvestv1.PickLotHeld{PickLot: lot(1, 0, true, "smell")},
			row{Lot: "alder-1-white-20261126", Push: "0", Held: "true", Reason: "smell", Version: "1"},
		},
	}
	for _, c := range cases {
		coop := testkit.Coop()
		if err := apply(pool, coop, subscriber.Harvest(), c.event); err != nil {
			t.Fatal(err)
		}
		got, err := supply(pool, coop)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff([]row{c.want}, got); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
	}
}

func TestSchedulingIsKeptAtTheHighestVersion(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, store.Schema()), testkit.Coop()
	farm := func(version, carry int64) proto.Message {
		return &schedulingv1.FarmSaved{Farm: &schedulingv1.Farm{FarmId: "alder", Name: "Alder Brook", CarryCostMinorPerKg: carry}, Version: version}
	}
	settings := func(version int64, currency string) proto.Message {
		return &schedulingv1.CoopSaved{Coop: &schedulingv1.Coop{Name: "Stillwater", TimeZone: "Europe/Dublin", CurrencyCode: currency}, Version: version}
	}
	for _, e := range []proto.Message{farm(2, 20), farm(1, 10), farm(2, 20), settings(3, "EUR"), settings(1, "GBP")} {
		if err := apply(pool, coop, subscriber.Scheduling(), e); err != nil {
			t.Fatal(err)
		}
	}
	var got []string
	err := pg.InReadTx(t.Context(), pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT farm_id || ' ' || carry_cost_minor_per_kg || ' v' || version FROM farm
			UNION ALL SELECT currency_code || ' v' || version FROM coop ORDER BY 1`)
		if err != nil {
			return err
		}
		got, err = pgx.CollectRows(rows, pgx.RowTo[string])
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(got)
	if diff := cmp.Diff([]string{"EUR v3", "alder 20 v2"}, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// An event that no later try can mend is refused for good, and leaves nothing.
func TestBrokenEventsAreRefusedForGood(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, store.Schema()), testkit.Coop()
	forGood := reflect.TypeOf(inbox.Permanent(errors.New("")))
	noLot, noDay, noVersion := pushed(1, 8000), pushed(1, 8000), pushed(0, 8000)
	noLot.ExpectedPick.PickLotId, noDay.ExpectedPick.Date = "", "2026-02-30"
	halfUsed, wrongOrder := pushed(1, 8000), using(pushed(1, 8000), 7000, 0)
	halfUsed.UsedLikelyGrams, wrongOrder.UsedLowGrams = proto.Int64(7000), proto.Int64(7001)
	for _, e := range []proto.Message{
		halfUsed, wrongOrder, stored(lot(1, 10, false, ""), 4, "2026-02-30"), noLot, noDay, noVersion, &harvestv1.ExpectedPickPushed{}, &harvestv1.PickRecorded{}, &harvestv1.PickLotHeld{},
		&schedulingv1.FarmSaved{}, &schedulingv1.CoopSaved{},
	} {
		handlers := subscriber.Harvest()
		for name, h := range subscriber.Scheduling() {
			handlers[name] = h
		}
		err := apply(pool, coop, handlers, e)
		if reflect.TypeOf(err) != forGood {
			t.Errorf("%T %v: %v, want a permanent error", e, e, err)
		}
	}
	if got, err := supply(pool, coop); err != nil || len(got) > 0 {
		t.Errorf("left behind: %v, %v", got, err)
	}
}
