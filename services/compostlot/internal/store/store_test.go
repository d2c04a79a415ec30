package store_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

var (
	first = store.Change{Version: 1, By: "Office", At: time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)}
	day   = time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)
)

// yard is a co-op with a yard, a slot and a lot of 100 kg each.
func yard(t *testing.T, pool *pgxpool.Pool) identity.Identity {
	t.Helper()
	coop := testkit.Coop()
	inTx(t, pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		if err := store.InsertYards(ctx, tx, []store.Yard{{ID: "quarry", Name: "Quarry End", Change: first}}); err != nil {
			return err
		}
		slot := store.Slot{ID: "s1", YardID: "quarry", ReadyDate: day, Phase: 2, CapacityKg: 100, RequestCutoff: day, State: store.SlotOpen, FreeKg: 100, Version: 1}
		if err := store.InsertSlots(ctx, tx, []store.Slot{slot}); err != nil {
			return err
		}
		lot := store.Lot{ID: "l1", YardID: "quarry", Phase: 2, StartedDate: day, MadeKg: 100, RemainingKg: 100, State: store.LotOpen, Change: first}
		return store.InsertLots(ctx, tx, []store.Lot{lot})
	})
	return coop
}

func inTx(t *testing.T, pool *pgxpool.Pool, coop identity.Identity, fn func(context.Context, pgx.Tx) error) {
	t.Helper()
	if err := pg.InTx(testkit.Context(t, coop), pool, coop.CoopID, fn); err != nil {
		t.Fatal(err)
	}
}

// The database itself refuses what must never be, whatever the code above does.
func TestInvariantsHoldInTheDatabase(t *testing.T) {
	t.Parallel()
	pool := testkit.Pool(t, store.Schema())
	coop := yard(t, pool)
	lot := func(change func(*store.Lot)) func(context.Context, pgx.Tx) error {
		return func(ctx context.Context, tx pgx.Tx) error {
			l, _, err := store.FindLot(ctx, tx, "l1")
			if err != nil {
				return err
			}
			change(&l)
			return store.UpdateLot(ctx, tx, l)
		}
	}
	days := func(d store.Day) func(context.Context, pgx.Tx) error {
		return func(ctx context.Context, tx pgx.Tx) error {
			d.Probe, d.Day = store.Probe{LotID: "l1", ProbeID: "p1", Kind: 1}, day
			return store.SaveDays(ctx, tx, []store.Day{d})
		}
	}
	for name, do := range map[string]func(context.Context, pgx.Tx) error{
		"a slot sold beyond its capacity": func(ctx context.Context, tx pgx.Tx) error {
			return store.TakeFromSlots(ctx, tx, []store.Taken{{SlotID: "s1", Kg: 60}, {SlotID: "s1", Kg: 41}})
		},
		"an open slot with more than it has": func(ctx context.Context, tx pgx.Tx) error {
			return store.GiveBack(ctx, tx, []store.Taken{{SlotID: "s1", Kg: 1}})
		},
		"a slot withdrawn without a notice": func(ctx context.Context, tx pgx.Tx) error {
			return store.WithdrawSlot(ctx, tx, store.Slot{ID: "s1", Version: 2, WithdrawnBy: "Orla", WithdrawnAt: &day})
		},
		"kilograms in a withdrawn slot": func(ctx context.Context, tx pgx.Tx) error {
			if err := store.WithdrawSlot(ctx, tx, store.Slot{ID: "s1", Version: 2, Notice: "wet straw", WithdrawnBy: "Orla", WithdrawnAt: &day}); err != nil {
				return err
			}
			return store.GiveBack(ctx, tx, []store.Taken{{SlotID: "s1", Kg: 1}})
		},
		"a changed figure without a source": func(ctx context.Context, tx pgx.Tx) error {
			return store.AddRules(ctx, tx, store.ReleaseRules{Phase: 2, Change: first}, []store.ReleaseCriterion{{Phase: 2, Version: 1, Number: 1, ID: "ph-7-8", Low: new(int64(1))}})
		},
		"less than nothing remains":  lot(func(l *store.Lot) { l.RemainingKg = -1 }),
		"more remains than was made": lot(func(l *store.Lot) { l.RemainingKg = 101 }),
		"released by nobody":         lot(func(l *store.Lot) { l.State = store.LotReleased }),
		"held for no reason":         lot(func(l *store.Lot) { l.State, l.HeldBy = store.LotHeld, "Orla" }),
		"an exception from nothing":  lot(func(l *store.Lot) { l.ExceptionReason = "because" }),
		"a time without a value":     days(store.Day{Seconds: []int32{1, 2}, Thousandths: []int32{5}}),
		"a second of another day":    days(store.Day{Seconds: []int32{86_400}, Thousandths: []int32{5}}),
		"a day without a reading":    days(store.Day{Seconds: []int32{}, Thousandths: []int32{}}),
	} {
		err := pg.InTx(testkit.Context(t, coop), pool, coop.CoopID, do)
		const checkViolation = "23514"
		var refused *pgconn.PgError
		if !errors.As(err, &refused) || refused.Code != checkViolation {
			t.Errorf("%s: %v, want a violated check", name, err)
		}
	}
}

// Nothing of one co-op is seen or changed by another, though both use the same ids.
func TestCoopsDoNotMeet(t *testing.T) {
	t.Parallel()
	pool := testkit.Pool(t, store.Schema())
	one, two := yard(t, pool), yard(t, pool)
	inTx(t, pool, one, func(ctx context.Context, tx pgx.Tx) error {
		return store.TakeFromSlots(ctx, tx, []store.Taken{{SlotID: "s1", Kg: 60}})
	})
	for _, c := range []struct {
		coop identity.Identity
		want []int64
	}{{one, []int64{40}}, {two, []int64{100}}, {testkit.Coop(), nil}} {
		inTx(t, pool, c.coop, func(ctx context.Context, tx pgx.Tx) error {
			slots, err := store.ListSlots(ctx, tx, day, day, "")
			var got []int64
			for _, s := range slots {
				got = append(got, s.FreeKg)
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("free (-want +got):\n%s", diff)
			}
			return err
		})
	}
}

// A day of readings comes back as it was saved, and tells its first and last reading.
func TestReadingsRoundTrip(t *testing.T) {
	t.Parallel()
	pool := testkit.Pool(t, store.Schema())
	coop := yard(t, pool)
	probe := store.Probe{LotID: "l1", ProbeID: "p1", Kind: 1}
	want := []store.Day{
		{Probe: probe, Day: day, Seconds: []int32{86_399}, Thousandths: []int32{-1_000_000_000}},
		{Probe: probe, Day: day.AddDate(0, 0, 1), Seconds: []int32{0, 60}, Thousandths: []int32{58_200, 1_000_000_000}},
	}
	inTx(t, pool, coop, func(ctx context.Context, tx pgx.Tx) error { return store.SaveDays(ctx, tx, want) })
	inTx(t, pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		got, err := store.Days(ctx, tx, "l1")
		if err != nil {
			return err
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("days (-want +got):\n%s", diff)
		}
		one, err := store.DaysOf(ctx, tx, want[1:])
		if err != nil {
			return err
		}
		if diff := cmp.Diff(want[1:], one); diff != "" {
			t.Errorf("one day (-want +got):\n%s", diff)
		}
		logged, err := store.LoggedBy(ctx, tx, "l1")
		midnight := day.AddDate(0, 0, 1)
		wanted := []store.Logged{{Probe: probe, Readings: 3, FirstAt: midnight.Add(-time.Second), LastAt: midnight.Add(time.Minute)}}
		if diff := cmp.Diff(wanted, logged); diff != "" {
			t.Errorf("logged (-want +got):\n%s", diff)
		}
		return err
	})
}
