package server_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/subscriber"
)

// hear hands another service's event to its handler.
func (r *rig) hear(t testing.TB, events ...proto.Message) {
	t.Helper()
	for _, e := range events {
		name := string(e.ProtoReflect().Descriptor().FullName())
		payload, err := proto.Marshal(e)
		if err != nil {
			t.Fatal(err)
		}
		for _, handlers := range subscriber.Sources() {
			h, ok := handlers[name]
			if !ok {
				continue
			}
			err := pg.InTx(r.office(t), r.pool, r.coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
				return h(ctx, tx, inbox.Message{CoopID: r.coop.CoopID, Type: name, Time: noon, Payload: payload})
			})
			if err != nil {
				t.Fatal(err)
			}
		}
	}
}

func product(id, species string, stage typev1.PickStage, grams, value int64) *orderv1.ProductSaved {
	return &orderv1.ProductSaved{Version: 1, Product: &orderv1.Product{
		ProductId: id, Name: "Product " + id, Species: species, PickStage: stage, PackGrams: grams, PackValueMinor: value,
	}}
}

func order(id, day, productID string, packs int64) *orderv1.OrderPlaced {
	return &orderv1.OrderPlaced{Order: &orderv1.Order{OrderId: id, DeliveryDate: day, Version: 1, Lines: []*orderv1.OrderLine{{ProductId: productID, Packs: packs}}}}
}

func slot(id, yard, day string, phase typev1.CompostPhase, kg int64) *compostlotv1.SlotPublished {
	return &compostlotv1.SlotPublished{Slot: &compostlotv1.Slot{
		SlotId: id, YardId: yard, ReadyDate: day, Phase: phase, CapacityKg: kg, PriceMinorPerTonne: 9000,
	}}
}

const (
	closed  = typev1.PickStage_PICK_STAGE_CLOSED
	phaseII = typev1.CompostPhase_COMPOST_PHASE_TWO
	noStage = typev1.PickStage_PICK_STAGE_UNSPECIFIED
)

// trade saves the co-op's settings and tells of two products, with twelve weeks of
// orders for one of them: 100 packs of 2 kg a week. Today is Monday, 2 March 2026.
func (r *rig) trade(t testing.TB) {
	t.Helper()
	must[*schedulingv1.Coop](t)(r.SaveCoop(r.office(t), &schedulingv1.SaveCoopRequest{
		RequestId: ids.New(), Coop: &schedulingv1.Coop{Name: "Stillwater", TimeZone: "Europe/Dublin", CurrencyCode: "EUR"},
	}))
	r.hear(t, product("white-2kg", "white mushroom", closed, 2000, 900), product("oyster-1kg", "oyster mushroom", noStage, 1000, 1100))
	for week := range 12 {
		day := shifted(t, "2026-03-04", -7*(week+1))
		r.hear(t, order(fmt.Sprintf("past-%d", week), day, "white-2kg", 100))
	}
}

func TestDemandIsForecastAndOverruled(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.trade(t)
	r.hear(t, order("ahead", "2026-03-11", "white-2kg", 250)) // more than ever
	demand := func() *schedulingv1.ProductDemand {
		return must[*schedulingv1.GetDemandResponse](t)(r.GetDemand(r.office(t), &schedulingv1.GetDemandRequest{Weeks: 4, ProductId: "white-2kg"})).GetProducts()[0]
	}
	got := demand()
	if got.GetHistoryWeeks() != 12 || len(got.GetWeeks()) != 4 || got.GetMethod() == "" || got.GetKind().GetSpecies() != "white mushroom" {
		t.Errorf("forecast %v", got)
	}
	// Twelve equal weeks: every method says the same again; what is ordered already
	// is the least.
	for i, want := range []int64{200_000, 500_000, 200_000, 200_000} {
		w := got.GetWeeks()[i]
		if w.GetGrams() != want || w.GetForecastGrams() != 200_000 || w.GetWeek() != shifted(t, "2026-03-02", 7*i) {
			t.Errorf("week %d: %v, want %d g", i, w, want)
		}
	}
	if w := got.GetWeeks()[1]; w.GetOrderedGrams() != 500_000 {
		t.Errorf("ordered %v", w)
	}

	figure := &schedulingv1.DemandOverride{ProductId: "white-2kg", Week: "2026-03-09", Grams: proto.Int64(120_000), Reason: "the hotel is closed"}
	save := func(o *schedulingv1.DemandOverride) (*schedulingv1.DemandOverride, error) {
		return r.SaveDemandOverride(r.office(t), &schedulingv1.SaveDemandOverrideRequest{RequestId: ids.New(), Override: o})
	}
	saved := must[*schedulingv1.DemandOverride](t)(save(figure))
	if w := demand().GetWeeks()[1]; w.GetGrams() != 120_000 || w.GetForecastGrams() != 200_000 {
		t.Errorf("overruled week %v", w)
	} else {
		diff(t, "override", saved, w.GetOverride(), protocmp.Transform())
	}
	_, err := save(&schedulingv1.DemandOverride{ProductId: "white-2kg", Week: "2026-03-09", Grams: proto.Int64(1), Reason: "no"})
	refused(t, err, fault.Stale, "ETAG_NEEDED", "override.etag")
	back := proto.CloneOf(saved)
	back.Grams, back.Reason = nil, "open after all"
	must[*schedulingv1.DemandOverride](t)(save(back))
	if w := demand().GetWeeks()[1]; w.GetGrams() != 500_000 || w.GetOverride() != nil {
		t.Errorf("week after the figure was taken back %v", w)
	}

	for field, spoil := range map[string]func(*schedulingv1.DemandOverride){
		"override.week":       func(o *schedulingv1.DemandOverride) { o.Week = "2026-03-10" }, // a Tuesday
		"override.product_id": func(o *schedulingv1.DemandOverride) { o.ProductId = "white-9kg" },
		"override.reason":     func(o *schedulingv1.DemandOverride) { o.Reason = "" },
	} {
		bad := proto.CloneOf(figure)
		spoil(bad)
		_, err := save(bad)
		if f := fault.FromStatus(err); f == nil || len(f.Fields) == 0 || f.Fields[0].Path != field {
			t.Errorf("%s: %v", field, err)
		}
	}
	past := proto.CloneOf(figure)
	past.Week = "2026-02-23"
	_, err = save(past)
	refused(t, err, fault.Invalid, fault.ReasonInvalidField, "override.week")
}

// Standing orders count once, whether they have become orders yet or not, and
// whether the customer ordered by hand before.
func TestStandingOrdersAreDemand(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.trade(t)
	demand := func() []string {
		var out []string
		for _, w := range must[*schedulingv1.GetDemandResponse](t)(r.GetDemand(r.office(t), &schedulingv1.GetDemandRequest{Weeks: 4, ProductId: "white-2kg"})).GetProducts()[0].GetWeeks() {
			out = append(out, fmt.Sprintf("%d of %d kg", w.GetStandingGrams()/1000, w.GetGrams()/1000))
		}
		return out
	}
	standing := &orderv1.StandingOrderSaved{Version: 1, StandingOrder: &orderv1.StandingOrder{
		StandingOrderId: "inn-weekly", CustomerId: "inn", FromDate: "2026-03-05", UntilDate: "2026-03-24",
		Lines:      []*orderv1.StandingLine{{ProductId: "white-2kg", Packs: 20, Weekdays: []orderv1.Weekday{orderv1.Weekday_WEEKDAY_TUESDAY, orderv1.Weekday_WEEKDAY_THURSDAY}}},
		Exceptions: []*orderv1.StandingException{{FromDate: "2026-03-12"}},
	}}
	r.hear(t, standing)
	want := []string{"40 of 240 kg", "40 of 240 kg", "80 of 280 kg", "40 of 240 kg"}
	diff(t, "beside the loose orders of others", want, demand())

	// The first day has become an order, the next was changed to more, one was cancelled.
	placed := func(id, day string, packs int64, origin orderv1.OrderOrigin, state orderv1.OrderState) *orderv1.OrderPlaced {
		e := order(id, day, "white-2kg", packs)
		e.Order.CustomerId, e.Order.Origin, e.Order.State = "inn", origin, state
		return e
	}
	r.hear(t,
		placed("s1", "2026-03-05", 20, orderv1.OrderOrigin_ORDER_ORIGIN_STANDING, orderv1.OrderState_ORDER_STATE_PLACED),
		placed("s2", "2026-03-10", 50, orderv1.OrderOrigin_ORDER_ORIGIN_STANDING_TOUCHED, orderv1.OrderState_ORDER_STATE_PLACED),
		placed("s3", "2026-03-17", 20, orderv1.OrderOrigin_ORDER_ORIGIN_STANDING_TOUCHED, orderv1.OrderState_ORDER_STATE_CANCELLED),
	)
	diff(t, "after some became orders", []string{"40 of 240 kg", "100 of 300 kg", "40 of 240 kg", "40 of 240 kg"}, demand())

	// A pause, told of before an older version comes late.
	paused := proto.CloneOf(standing)
	paused.Version, paused.StandingOrder.Paused = 2, true
	r.hear(t, paused, standing)
	diff(t, "while it rests", []string{"40 of 240 kg", "100 of 300 kg", "0 of 200 kg", "0 of 200 kg"}, demand())
}

func TestPlanningSettings(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.trade(t)
	save := func(s *schedulingv1.PlanningSettings) (*schedulingv1.PlanningSettings, error) {
		return r.SavePlanningSettings(r.office(t), &schedulingv1.SavePlanningSettingsRequest{RequestId: ids.New(), Settings: s})
	}
	in := &schedulingv1.PlanningSettings{
		Products:           []*schedulingv1.ProductCost{{ProductId: "white-2kg", ShortMinorPerKg: proto.Int64(500), OverMinorPerKg: proto.Int64(0)}},
		SpawnMinorPerKg:    proto.Int64(700),
		ChangeMinorPerFill: proto.Int64(5000),
	}
	saved := must[*schedulingv1.PlanningSettings](t)(save(in))
	read := must[*schedulingv1.PlanningSettings](t)(r.GetPlanningSettings(r.office(t), &schedulingv1.GetPlanningSettingsRequest{}))
	diff(t, "settings", saved, read, protocmp.Transform())
	if read.LabourMinorPerHour != nil || read.GetProducts()[0].OverMinorPerKg == nil {
		t.Error("absent and nothing are mixed up")
	}
	must[*schedulingv1.PlanningSettings](t)(save(in)) // equal
	other := proto.CloneOf(in)
	other.SpawnMinorPerKg = proto.Int64(800)
	_, err := save(other)
	refused(t, err, fault.Stale, "ETAG_NEEDED", "settings.etag")
	other.Etag = saved.GetEtag()
	must[*schedulingv1.PlanningSettings](t)(save(other))
	other.Products = append(other.Products, &schedulingv1.ProductCost{ProductId: "gold"})
	_, err = save(other)
	refused(t, err, fault.NotFound, "UNKNOWN_PRODUCT", "settings.products[1].product_id")
}
