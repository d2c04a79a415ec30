package subscriber_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
	"breakshare.example/services/scheduling/internal/subscriber"
)

// told is an event at a moment.
type told struct {
	body proto.Message
	at   time.Time
}

// apply hands an event to its handler as the consumer does.
func apply(t *testing.T, pool *pgxpool.Pool, coop identity.Identity, e told) error {
	t.Helper()
	name := string(e.body.ProtoReflect().Descriptor().FullName())
	payload, err := proto.Marshal(e.body)
	if err != nil {
		t.Fatal(err)
	}
	for _, handlers := range subscriber.Sources() {
		if h, ok := handlers[name]; ok {
			return pg.InTx(testkit.Context(t, coop), pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
				return h(ctx, tx, inbox.Message{CoopID: coop.CoopID, Type: name, Time: e.at, Payload: payload})
			})
		}
	}
	t.Fatalf("nobody takes %s", name)
	return nil
}

var noon = time.Date(2026, time.March, 2, 12, 0, 0, 0, time.UTC)

func order(id, day string, version, packs int64) *orderv1.Order {
	return &orderv1.Order{OrderId: id, DeliveryDate: day, Version: version, Lines: []*orderv1.OrderLine{
		{ProductId: "white-2kg", Packs: packs}, {ProductId: "oyster-1kg", Packs: 1},
	}}
}

func slot(kg int64) *compostlotv1.Slot {
	return &compostlotv1.Slot{
		SlotId: "quarry-end-1", YardId: "quarry-end", ReadyDate: "2026-04-07", Phase: typev1.CompostPhase_COMPOST_PHASE_TWO,
		CapacityKg: kg, PriceMinorPerTonne: 9500,
	}
}

// Whatever order events come in, and however often, the same stands in the end.
func TestSameEndInAnyOrder(t *testing.T) {
	t.Parallel()
	pool := testkit.Pool(t, store.Schema())
	white := &orderv1.Product{ProductId: "white-2kg", Name: "White", Species: "white mushroom", PickStage: typev1.PickStage_PICK_STAGE_CLOSED, PackGrams: 2000, PackValueMinor: 900}
	renamed := proto.CloneOf(white)
	renamed.Name, renamed.PackValueMinor = "White closed cups", 950
	oyster := &orderv1.Product{ProductId: "oyster-1kg", Name: "Oyster", Species: "oyster mushroom", PackGrams: 1000, PackValueMinor: 1100}
	gone := slot(30_000)
	gone.SlotId, gone.ReadyDate = "quarry-end-2", "2026-04-14"
	tape := []told{
		{&orderv1.ProductSaved{Product: white, Version: 1}, noon}, {&orderv1.ProductSaved{Product: renamed, Version: 2}, noon},
		{&orderv1.ProductSaved{Product: oyster, Version: 1}, noon},
		{&orderv1.OrderPlaced{Order: order("a", "2026-03-02", 1, 4)}, noon}, {&orderv1.OrderChanged{Order: order("a", "2026-03-08", 2, 5)}, noon},
		{&orderv1.OrderPlaced{Order: order("b", "2026-03-03", 1, 7)}, noon},
		{&orderv1.OrderPlaced{Order: order("c", "2026-03-04", 1, 9)}, noon}, {&orderv1.OrderCancelled{Order: order("c", "2026-03-04", 2, 9)}, noon},
		{&compostlotv1.SlotPublished{Slot: slot(40_000)}, noon}, {&compostlotv1.SlotPublished{Slot: slot(38_000)}, noon.Add(time.Minute)},
		{&compostlotv1.SlotPublished{Slot: gone}, noon}, {&compostlotv1.SlotWithdrawn{Slot: gone}, noon.Add(time.Minute)},
		{&compostlotv1.ShareGranted{RoundId: "r1", Share: &compostlotv1.Share{CompostRequestId: "q1", Slots: []*compostlotv1.ShareSlot{{SlotId: "quarry-end-1", GrantedKg: 12_000}}}}, noon},
		{&compostlotv1.ShareGranted{RoundId: "r1", Share: &compostlotv1.Share{CompostRequestId: "q2", Slots: []*compostlotv1.ShareSlot{{SlotId: "quarry-end-1", GrantedKg: 3_000}}}}, noon},
	}
	monday := calendar.On(2026, time.March, 2)
	for seed := range uint64(8) {
		coop := testkit.Coop()
		shuffled := append(append([]told{}, tape...), tape...)
		rand.New(rand.NewPCG(seed, 7)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		for _, e := range shuffled {
			if err := apply(t, pool, coop, e); err != nil {
				t.Fatal(err)
			}
		}
		err := pg.InReadTx(testkit.Context(t, coop), pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
			products, err1 := store.ListProducts(ctx, tx, "white-2kg")
			ordered, err2 := store.ListOrdered(ctx, tx, monday)
			slots, err3 := store.ListSlots(ctx, tx, "quarry-end", monday)
			for what, pair := range map[string][2]any{
				"products": {[]store.Product{{ID: "white-2kg", Name: "White closed cups", Species: "white mushroom", PickStage: programme.Closed, PackGrams: 2000, PackValueMinor: 950, Version: 2}}, products},
				"orders":   {[]store.Ordered{{ProductID: "oyster-1kg", Week: monday, Grams: 2000}, {ProductID: "white-2kg", Week: monday, Grams: 24_000}}, ordered},
			} {
				if diff := cmp.Diff(pair[0], pair[1]); diff != "" {
					t.Errorf("seed %d: %s (-want +got):\n%s", seed, what, diff)
				}
			}
			open, err4 := store.OpenSlots(ctx, tx, monday)
			if len(open) != 1 || len(slots) != 2 || !slots[1].Withdrawn || slots[0].CapacityKg != 38_000 || slots[0].GrantedKg != 15_000 || slots[0].Phase != 2 || !slots[0].ToldAt.Equal(noon.Add(time.Minute)) {
				t.Errorf("seed %d: slots %+v", seed, slots)
			}
			return errors.Join(err1, err2, err3, err4)
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// An event that no trying again can mend goes to the dead letters at once.
func TestUnusableEvents(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, store.Schema()), testkit.Coop()
	bad := slot(1)
	bad.ReadyDate = "2026-02-30"
	soon := &orderv1.StandingOrder{StandingOrderId: "a", FromDate: "2026-03-02", Exceptions: []*orderv1.StandingException{{FromDate: "soon"}}}
	for _, e := range []proto.Message{&orderv1.OrderPlaced{Order: order("a", "soon", 1, 1)}, &orderv1.StandingOrderSaved{StandingOrder: soon, Version: 1}, &compostlotv1.SlotPublished{Slot: bad}} {
		err := apply(t, pool, coop, told{e, noon})
		if want, got := fmt.Sprintf("%T", inbox.Permanent(errors.New("any"))), fmt.Sprintf("%T", err); got != want {
			t.Errorf("%T: the error is a %s (%v), want a %s", e, got, err, want)
		}
	}
}
