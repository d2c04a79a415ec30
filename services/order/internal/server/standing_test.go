package server_test

import (
	"context"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/server"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

const (
	thursday = orderv1.Weekday_WEEKDAY_THURSDAY // tomorrow is one
	saturday = orderv1.Weekday_WEEKDAY_SATURDAY
)

// weekly is a standing order of Thursdays and Saturdays.
func weekly(id, customer string) *orderv1.StandingOrder {
	return &orderv1.StandingOrder{StandingOrderId: id, CustomerId: customer, FromDate: today, Lines: []*orderv1.StandingLine{
		{ProductId: "white", Packs: 8, SmallestPacks: 2, Weekdays: []orderv1.Weekday{thursday, saturday}},
		{ProductId: "oyster", Packs: 3, Weekdays: []orderv1.Weekday{saturday}},
	}}
}

func (r *rig) stand(t testing.TB, ctx context.Context, o *orderv1.StandingOrder) *orderv1.StandingOrder {
	t.Helper()
	return must[*orderv1.StandingOrder](t)(r.SaveStandingOrder(ctx, &orderv1.SaveStandingOrderRequest{RequestId: ids.New(), StandingOrder: o}))
}

// day is the order of the first customer on a day, nil where there is none.
func (r *rig) day(t testing.TB, day string) *orderv1.Order {
	t.Helper()
	all := must[*orderv1.ListOrdersResponse](t)(r.ListOrders(r.office(t), &orderv1.ListOrdersRequest{DeliveryDate: day, CustomerId: "anchor"})).GetOrders()
	if len(all) == 0 {
		return nil
	}
	return all[0]
}

// days are the outcomes of the days that standing orders are about, by day.
func (r *rig) days(t testing.TB) map[string]orderv1.StandingOutcome {
	t.Helper()
	seen := make(map[string]orderv1.StandingOutcome)
	for _, d := range must[*orderv1.ListStandingDaysResponse](t)(r.ListStandingDays(r.office(t), &orderv1.ListStandingDaysRequest{})).GetDays() {
		seen[d.GetDeliveryDate()] = d.GetOutcome()
	}
	return seen
}

// timeZone has scheduling tell where the co-op is.
func (r *rig) timeZone(t testing.TB, zone string) {
	t.Helper()
	r.in(t, func(ctx context.Context, tx pgx.Tx) error {
		return store.KeepCoop(ctx, tx, store.Coop{Name: "Co-op", TimeZone: zone, CurrencyCode: "EUR", Version: 1})
	})
}

func (r *rig) orderingRules(t testing.TB, settings *orderv1.OrderingSettings) *orderv1.OrderingSettings {
	t.Helper()
	return must[*orderv1.OrderingSettings](t)(r.SaveOrderingSettings(r.office(t), &orderv1.SaveOrderingSettingsRequest{RequestId: ids.New(), Settings: settings}))
}

// In one story, because each part goes on from what the one before left: a buyer's standing order
// becomes orders, gives way to what is changed by hand, rests, goes on, and ends.
func TestAStandingOrderBecomesOrdersAndGivesWayToPeople(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	buyer := r.buyer(t, "anchor")
	before := len(r.events(t))

	saved := r.stand(t, buyer, weekly("anchor-weekly", "anchor"))
	if saved.GetVersion() != 1 || saved.GetEtag() == "" || saved.GetChangedBy() != "Chef" {
		t.Errorf("saved: %v", saved)
	}
	want := []string{
		"standing_order.saved anchor-weekly", "order.placed anchor-20261126", "order.placed anchor-20261128",
		"order.placed anchor-20261203", "order.placed anchor-20261205",
	}
	if got := r.subjects(t, before); !slices.Equal(got, want) {
		t.Errorf("told %q, want %q", got, want)
	}
	saturdays := []*orderv1.OrderLine{{ProductId: "oyster", Packs: 3}, {ProductId: "white", Packs: 8, SmallestPacks: 2}}
	order := r.day(t, "2026-11-28")
	diff(t, "the order of Saturday", &orderv1.Order{
		OrderId: "anchor-20261128", CustomerId: "anchor", DeliveryDate: "2026-11-28", Lines: saturdays, State: orderv1.OrderState_ORDER_STATE_PLACED,
		Version: 1, Etag: order.GetEtag(), Origin: orderv1.OrderOrigin_ORDER_ORIGIN_STANDING,
	}, order)

	// Again: nothing new, by whatever way.
	before = len(r.events(t))
	r.stand(t, buyer, weekly("anchor-weekly", "anchor"))
	must[*orderv1.ExpandStandingOrdersResponse](t)(r.ExpandStandingOrders(r.office(t), &orderv1.ExpandStandingOrdersRequest{RequestId: ids.New()}))
	if got := r.subjects(t, before); len(got) > 0 {
		t.Errorf("doing it again told %q", got)
	}

	// What the buyer changes or cancels by hand stays so, whatever becomes of the standing order.
	must[*orderv1.Order](t)(r.ChangeOrder(buyer, &orderv1.ChangeOrderRequest{
		RequestId: ids.New(), OrderId: order.GetOrderId(), Lines: []*orderv1.OrderLine{{ProductId: "white", Packs: 5}}, Etag: order.GetEtag(),
	}))
	thursdays := r.day(t, tomorrow)
	must[*orderv1.Order](t)(r.CancelOrder(buyer, &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: thursdays.GetOrderId(), Etag: thursdays.GetEtag()}))
	more := proto.CloneOf(saved)
	more.Lines[0].Packs = 9
	saved = r.stand(t, buyer, more)
	if o := r.day(t, "2026-11-28"); o.GetLines()[0].GetPacks() != 5 || o.GetOrigin() != orderv1.OrderOrigin_ORDER_ORIGIN_STANDING_TOUCHED {
		t.Errorf("what the buyer changed became %v", o)
	}
	if o := r.day(t, tomorrow); o.GetState() != orderv1.OrderState_ORDER_STATE_CANCELLED {
		t.Errorf("what the buyer cancelled became %v", o)
	}
	if o := r.day(t, "2026-12-03"); o.GetLines()[0].GetPacks() != 9 || o.GetVersion() != 2 {
		t.Errorf("what nobody touched became %v", o)
	}
	const kept, as = orderv1.StandingOutcome_STANDING_OUTCOME_KEPT, orderv1.StandingOutcome_STANDING_OUTCOME_AS_ORDERED
	diff(t, "the days", map[string]orderv1.StandingOutcome{tomorrow: kept, "2026-11-28": kept, "2026-12-03": as, "2026-12-05": as}, r.days(t))

	// An order by hand for a day takes the place of the one that standing orders placed.
	before = len(r.events(t))
	byHand := wants("anchor", "2026-12-05", "white", 1)
	byHand.OrderId = "by-hand"
	r.place(t, byHand)
	if got, want := r.subjects(t, before), []string{"order.placed by-hand", "order.cancelled anchor-20261205"}; !slices.Equal(got, want) {
		t.Errorf("told %q, want %q", got, want)
	}
	if got := r.days(t)["2026-12-05"]; got != kept {
		t.Errorf("the day ordered for by hand is %s", got)
	}

	// A rest cancels, its end places again, ending cancels for good.
	resting := proto.CloneOf(saved)
	resting.Exceptions = []*orderv1.StandingException{{FromDate: "2026-12-01", UntilDate: "2026-12-03", Note: "closed"}}
	saved = r.stand(t, buyer, resting)
	if o := r.day(t, "2026-12-03"); o.GetState() != orderv1.OrderState_ORDER_STATE_CANCELLED {
		t.Errorf("on a day of rest there is %v", o)
	}
	resting = proto.CloneOf(saved)
	resting.Exceptions = nil
	saved = r.stand(t, buyer, resting)
	if o := r.day(t, "2026-12-03"); o.GetState() != orderv1.OrderState_ORDER_STATE_PLACED || o.GetVersion() != 4 {
		t.Errorf("after the rest was taken back there is %v", o)
	}
	ended := must[*orderv1.StandingOrder](t)(r.EndStandingOrder(buyer, &orderv1.EndStandingOrderRequest{RequestId: ids.New(), StandingOrderId: saved.GetStandingOrderId(), Etag: saved.GetEtag()}))
	if o := r.day(t, "2026-12-03"); !ended.GetEnded() || o.GetState() != orderv1.OrderState_ORDER_STATE_CANCELLED {
		t.Errorf("ended %v, there is %v", ended.GetEnded(), o)
	}
	_, err := r.SaveStandingOrder(buyer, &orderv1.SaveStandingOrderRequest{RequestId: ids.New(), StandingOrder: proto.CloneOf(ended)})
	if err != nil {
		t.Errorf("saving what was ended as it is: %v", err)
	}
	again := proto.CloneOf(ended)
	again.Lines[0].Packs = 7
	_, err = r.SaveStandingOrder(buyer, &orderv1.SaveStandingOrderRequest{RequestId: ids.New(), StandingOrder: again})
	refused(t, err, fault.Precondition, "STANDING_ORDER_ENDED", "standing order anchor-weekly")
	if all := must[*orderv1.ListStandingOrdersResponse](t)(r.ListStandingOrders(buyer, &orderv1.ListStandingOrdersRequest{})).GetStandingOrders(); len(all) > 0 {
		t.Errorf("standing orders that are left: %v", all)
	}
	diff(t, "with those that were ended", []*orderv1.StandingOrder{ended},
		must[*orderv1.ListStandingOrdersResponse](t)(r.ListStandingOrders(buyer, &orderv1.ListStandingOrdersRequest{WithEnded: true})).GetStandingOrders())
}

// By itself the service places what comes into the horizon as days pass, for every co-op; what the
// clock missed is placed after the cut-off too, but what was asked for after it is not.
func TestStandingOrdersAreExpandedByTheClock(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	other := *r
	other.coop = testkit.Coop()
	other.settle(t)
	srv := server.New(server.Options{Pool: r.pool, Clock: r.clock})
	r.stand(t, r.office(t), weekly("anchor-weekly", "anchor"))
	other.stand(t, other.office(t), weekly("anchor-weekly", "anchor"))
	if n, err := srv.ExpandDue(t.Context()); n != 0 || err != nil {
		t.Errorf("right after the save: %d orders, %v", n, err)
	}
	r.clock.Advance(7 * 24 * time.Hour)
	expander := server.NewExpander(srv, slog.New(slog.DiscardHandler), time.Hour)
	if err := expander.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	<-expander.Started()
	if r.day(t, "2026-12-10") == nil || other.day(t, "2026-12-12") == nil {
		t.Error("the orders of the week after are not there")
	}
	if err := expander.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if o := r.day(t, "2026-12-10"); len(o.GetLines()) != 1 || o.GetLines()[0].GetPacks() != 8 {
		t.Errorf("placed: %v", o)
	}

	// Several at once, as in several processes: each order is placed once.
	r.clock.Advance(7 * 24 * time.Hour)
	before := len(r.events(t))
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			if _, err := srv.ExpandDue(t.Context()); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if got, want := r.subjects(t, before), []string{"order.placed anchor-20261217", "order.placed anchor-20261219"}; !slices.Equal(got, want) {
		t.Errorf("four at once told %q, want %q", got, want)
	}

	// On Wednesday 2026-12-23 after the cut-off of Thursday 2026-12-24.
	r.orderingRules(t, &orderv1.OrderingSettings{CutoffTime: "11:00", CutoffDaysBefore: 1, HorizonDays: 1})
	r.clock.Advance(14 * 24 * time.Hour)
	if n, err := srv.ExpandDue(t.Context()); err != nil || r.day(t, "2026-12-24") == nil {
		t.Errorf("what the clock missed: %d orders, %v", n, err)
	}
	late := weekly("anchor-late", "anchor")
	late.Lines = []*orderv1.StandingLine{{ProductId: "oyster", Packs: 1, Weekdays: []orderv1.Weekday{thursday}}}
	r.stand(t, r.office(t), late)
	if o := r.day(t, "2026-12-24"); len(o.GetLines()) != 1 || r.days(t)["2026-12-24"] != orderv1.StandingOutcome_STANDING_OUTCOME_TOO_LATE {
		t.Errorf("what was asked for after the cut-off: %v, %v", o, r.days(t))
	}
}

func TestStandingOrdersThatMakeNoSenseAreRefused(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	r.stand(t, r.office(t), weekly("anchor-weekly", "anchor"))
	tests := map[string]struct {
		spoil  func(*orderv1.StandingOrder)
		kind   fault.Kind
		reason string
		field  string
	}{
		"a stranger":           {func(o *orderv1.StandingOrder) { o.CustomerId = "stranger" }, fault.Invalid, "", "customer_id"},
		"no such product":      {func(o *orderv1.StandingOrder) { o.Lines[1].ProductId = "truffle" }, fault.Invalid, "", "lines[1].product_id"},
		"no such day":          {func(o *orderv1.StandingOrder) { o.FromDate = "2026-02-30" }, fault.Invalid, "", "from_date"},
		"no such last day":     {func(o *orderv1.StandingOrder) { o.UntilDate = "2027-02-29" }, fault.Invalid, "", "until_date"},
		"ends before it began": {func(o *orderv1.StandingOrder) { o.UntilDate = yesterday }, fault.Invalid, "", "until_date"},
		"no such rest": {func(o *orderv1.StandingOrder) { o.Exceptions = []*orderv1.StandingException{{FromDate: "2026-13-01"}} },
			fault.Invalid, "", "exceptions[0].from_date"},
		"useless":                  {func(o *orderv1.StandingOrder) { o.Lines[0].SmallestPacks = 9 }, fault.Invalid, "", "lines[0].smallest_packs"},
		"a product twice on a day": {func(o *orderv1.StandingOrder) { o.Lines[1].ProductId = "white" }, fault.Invalid, "", "lines[1].weekdays"},
		"what another one has":     {func(o *orderv1.StandingOrder) { o.CustomerId = "anchor" }, fault.Invalid, "", "lines[0].weekdays"},
		"another kitchen's id":     {func(o *orderv1.StandingOrder) { o.StandingOrderId = "anchor-weekly" }, fault.Invalid, "", "customer_id"},
		"no line":                  {func(o *orderv1.StandingOrder) { o.Lines = nil }, fault.Invalid, "", "lines"},
		"nothing to change":        {func(o *orderv1.StandingOrder) { o.Etag = "v7" }, fault.NotFound, "NOTHING_TO_CHANGE", "etag"},
		"without having read": {func(o *orderv1.StandingOrder) {
			o.StandingOrderId, o.CustomerId, o.Paused = "anchor-weekly", "anchor", true
		}, fault.Stale, "ETAG_NEEDED", "etag"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			o := weekly("bell-weekly", "bell")
			test.spoil(o)
			_, err := r.SaveStandingOrder(r.office(t), &orderv1.SaveStandingOrderRequest{RequestId: ids.New(), StandingOrder: o})
			refused(t, err, test.kind, test.reason, "standing_order."+test.field)
			_, err = r.BatchSaveStandingOrders(r.office(t), &orderv1.BatchSaveStandingOrdersRequest{
				RequestId: ids.New(), StandingOrders: []*orderv1.StandingOrder{weekly("crown-weekly", "crown"), o},
			})
			refused(t, err, test.kind, test.reason, "standing_orders[1]."+test.field)
		})
	}
	if all := must[*orderv1.ListStandingOrdersResponse](t)(r.ListStandingOrders(r.office(t), &orderv1.ListStandingOrdersRequest{})).GetStandingOrders(); len(all) != 1 {
		t.Errorf("what was refused is there: %v", all)
	}
	refused(t, call(r.EndStandingOrder, &orderv1.EndStandingOrderRequest{RequestId: ids.New(), StandingOrderId: "anchor-weekly", Etag: "v9"})(r.office(t)), fault.Stale, "STALE_ETAG", "etag")
	refused(t, call(r.EndStandingOrder, &orderv1.EndStandingOrderRequest{RequestId: ids.New(), StandingOrderId: "anchor-weekly", Etag: "v1"})(r.buyer(t, "bell")), fault.Forbidden, "OTHER_CUSTOMER", "")
	refused(t, call(r.EndStandingOrder, &orderv1.EndStandingOrderRequest{RequestId: ids.New(), StandingOrderId: "nobody", Etag: "v1"})(r.office(t)), fault.NotFound, "", "")
}
