package subscriber

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

func inCoop(t testing.TB, pool *pgxpool.Pool, coop identity.Identity, fn func(ctx context.Context, tx pgx.Tx) error) error {
	t.Helper()
	as := identity.Identity{CoopID: coop.CoopID, Role: identity.Service}
	return pg.InTx(testkit.Context(t, as), pool, coop.CoopID, fn)
}

// hear hands an event to whichever source's handler takes it.
func hear(t testing.TB, pool *pgxpool.Pool, coop identity.Identity, e proto.Message) error {
	t.Helper()
	name := string(e.ProtoReflect().Descriptor().FullName())
	payload, err := proto.Marshal(e)
	if err != nil {
		t.Fatal(err)
	}
	for _, handlers := range Sources() {
		if h, ok := handlers[name]; ok {
			return inCoop(t, pool, coop, func(ctx context.Context, tx pgx.Tx) error {
				return h(ctx, tx, inbox.Message{CoopID: coop.CoopID, Type: name, Payload: payload})
			})
		}
	}
	t.Fatalf("nobody takes %s", name)
	return nil
}

// open opens a pick lot in a room on a day.
func open(t testing.TB, pool *pgxpool.Pool, coop identity.Identity, roomID string, on day.Date) {
	t.Helper()
	err := inCoop(t, pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		book, err := store.Book(ctx, tx, []string{roomID})
		if err != nil {
			return err
		}
		_, err = lots.Open(ctx, tx, book, []store.PickLot{{RoomID: roomID, ProductID: "white-2kg", Day: on, FarmID: "alder-brook"}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// state is everything that the events made, as text.
func state(t testing.TB, pool *pgxpool.Pool, coop identity.Identity) (out []string) {
	t.Helper()
	const sql = `
		SELECT concat_ws(' ', 'room', room_id, farm_id, version) FROM room
		UNION ALL SELECT concat_ws(' ', 'product', product_id, species, version) FROM product
		UNION ALL SELECT concat_ws(' ', 'crop', crop_id, room_id, fill_date, free_date, filled, ended, version) FROM crop
		UNION ALL SELECT concat_ws(' ', 'compost', compost_lot_id, held, exception_reason, version) FROM compost_lot
		UNION ALL SELECT concat_ws(' ', 'delivery', delivery_id, room_id, delivered_kg) FROM compost_delivery
		UNION ALL SELECT concat_ws(' ', 'lot', pick_lot_id, crop_id, compost_lot_ids, compost_held, compost_reason, compost_exception) FROM pick_lot
		ORDER BY 1`
	err := inCoop(t, pool, coop, func(ctx context.Context, tx pgx.Tx) error {
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

func crop(id string, version int64, state schedulingv1.CropState, fill, first, free string) *schedulingv1.Crop {
	return &schedulingv1.Crop{
		CropId: id, RoomId: "ab-1", FarmId: "alder-brook", Species: "white mushroom", State: state, Version: version,
		FillDate: fill, FirstPickDate: first, FreeDate: free,
	}
}

// story is what happened, in order: a crop runs late and is ended, the next is
// planned and moved; its compost is delivered, held, and freed by exception.
func story() []proto.Message {
	const planned, running, ended = schedulingv1.CropState_CROP_STATE_PLANNED, schedulingv1.CropState_CROP_STATE_RUNNING, schedulingv1.CropState_CROP_STATE_ENDED
	lot := func(id string, version int64, s compostlotv1.LotState, exception string) *compostlotv1.Lot {
		return &compostlotv1.Lot{LotId: id, YardId: "quarry-end", State: s, Version: version, ExceptionReason: exception, HoldReason: "ammonia"}
	}
	const free, held = compostlotv1.LotState_LOT_STATE_RELEASED, compostlotv1.LotState_LOT_STATE_HELD
	room := &schedulingv1.Room{RoomId: "ab-1", FarmId: "alder-brook", AreaM2: 200}
	return []proto.Message{
		&schedulingv1.RoomSaved{Room: room, Version: 1},
		&schedulingv1.RoomSaved{Room: room, Version: 2},
		&schedulingv1.CropPlanned{Crop: crop("one", 1, planned, "2026-09-01", "2026-10-10", "2026-11-10")},
		&schedulingv1.CropStageReached{Crop: crop("one", 2, running, "2026-09-03", "2026-10-12", "2026-11-12")},
		&schedulingv1.CropEnded{Crop: crop("one", 3, ended, "2026-09-03", "2026-10-12", "2026-11-15")},
		&schedulingv1.CropPlanned{Crop: crop("two", 1, planned, "2026-11-13", "2026-12-20", "2027-01-25")},
		&schedulingv1.CropMoved{Crop: crop("two", 2, planned, "2026-11-17", "2026-12-24", "2027-01-29")},
		&compostlotv1.LotOpened{Lot: lot("q-1", 1, compostlotv1.LotState_LOT_STATE_OPEN, "")},
		&compostlotv1.LotReleased{Lot: lot("q-1", 2, free, "")},
		&compostlotv1.LotDelivered{Lot: lot("q-1", 3, free, ""), Delivery: &compostlotv1.LotDelivery{DeliveryId: "d1", LotId: "q-1", RoomId: "ab-1", Date: "2026-09-02", DeliveredKg: 900}},
		&compostlotv1.LotHeld{Lot: lot("q-1", 4, held, "")},
		&compostlotv1.LotReleased{Lot: lot("q-1", 5, free, "retested")},
		&compostlotv1.LotDelivered{Lot: lot("q-2", 3, free, ""), Delivery: &compostlotv1.LotDelivery{DeliveryId: "d2", LotId: "q-2", RoomId: "ab-1", CropId: "two", Date: "2026-11-30", DeliveredKg: 800}},
		&compostlotv1.LotHeld{Lot: lot("q-2", 4, held, "")},
		&orderv1.ProductSaved{Product: &orderv1.Product{ProductId: "white-2kg", Species: "white mushrom"}, Version: 1},
		&orderv1.ProductSaved{Product: &orderv1.Product{ProductId: "white-2kg", Species: "white mushroom"}, Version: 2},
	}
}

// However the events come, and however often, the end is the same: that of the
// newest versions.
func TestAnyOrderAndDuplicatesEndTheSame(t *testing.T) {
	t.Parallel()
	pool := testkit.SharedPool(t, store.Schema())
	play := func(events []proto.Message) []string {
		coop := testkit.Coop()
		// The crops as first known, so that lots can be opened before the rest.
		for _, e := range []proto.Message{story()[2], story()[5]} {
			if err := hear(t, pool, coop, e); err != nil {
				t.Fatal(err)
			}
		}
		for _, on := range []day.Date{day.On(2026, time.November, 1), day.On(2026, time.November, 14), day.On(2027, time.January, 5)} {
			open(t, pool, coop, "ab-1", on)
		}
		for _, e := range events {
			if err := hear(t, pool, coop, e); err != nil {
				t.Fatal(err)
			}
		}
		return state(t, pool, coop)
	}
	want := play(story())
	for _, line := range []string{
		"crop one ab-1 2026-09-03 2026-11-15 t t 3",
		"crop two ab-1 2026-11-17 2027-01-29 f f 2",
		"compost q-1 f retested 5",
		"lot ab-1-white-2kg-20261101 one {q-1} f  compost lot q-1 was released by exception: retested",
		"lot ab-1-white-2kg-20261114 one {q-1} f  compost lot q-1 was released by exception: retested",
		"lot ab-1-white-2kg-20270105 two {q-2} t compost lot q-2 is held: ammonia ",
		"product white-2kg white mushroom 2",
		"room ab-1 alder-brook 2",
	} {
		if !slices.Contains(want, line) {
			t.Errorf("in order, the story does not end with %q but with:\n%q", line, want)
		}
	}
	rng := rand.New(rand.NewPCG(7, 11))
	for i := range 20 {
		events := slices.Concat(story(), story())
		rng.Shuffle(len(events), func(i, j int) { events[i], events[j] = events[j], events[i] })
		if diff := cmp.Diff(want, play(events)); diff != "" {
			t.Fatalf("shuffle %d (-in order +shuffled):\n%s", i, diff)
		}
	}
}

// An event that makes no sense is buried at once; trying again would not mend
// it, and the events after it wait.
func TestSenselessEventsAreBuried(t *testing.T) {
	t.Parallel()
	pool := testkit.SharedPool(t, store.Schema())
	coop := testkit.Coop()
	forgotten := inbox.Permanent(errors.New(""))
	for _, e := range []proto.Message{
		&schedulingv1.CropPlanned{Crop: crop("x", 1, 1, "2026-02-30", "", "2026-03-01")},
		&schedulingv1.CropMoved{Crop: crop("x", 1, 1, "2026-02-01", "soon", "2026-03-01")},
		&schedulingv1.CropEnded{Crop: crop("x", 1, 1, "2026-02-01", "", "")},
		&compostlotv1.LotDelivered{Delivery: &compostlotv1.LotDelivery{DeliveryId: "d", Date: "2026-02-30"}},
	} {
		if err := hear(t, pool, coop, e); !wraps(err, forgotten) {
			t.Errorf("%v: %v (%T), want a permanent error", e, err, err)
		}
	}
	if got := state(t, pool, coop); len(got) != 0 {
		t.Errorf("left behind: %q", got)
	}
}

// wraps reports whether an error of the type of like is in the chain of err.
func wraps(err, like error) bool {
	for ; err != nil; err = errors.Unwrap(err) {
		if fmt.Sprintf("%T", err) == fmt.Sprintf("%T", like) {
			return true
		}
	}
	return false
}
