package server_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// At noon of the day before. A buyer may until the cut-off and no longer; the coordinator may also
// later.
func TestBuyersOrderUntilTheCutoff(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	buyer := r.buyer(t, "anchor")
	cutoff := func() *orderv1.Cutoff {
		return must[*orderv1.Cutoff](t)(r.GetCutoff(buyer, &orderv1.GetCutoffRequest{DeliveryDate: tomorrow}))
	}
	diff(t, "without any", &orderv1.Cutoff{DeliveryDate: tomorrow, Now: timestamppb.New(noon), Open: true}, cutoff())

	// New York is five hours behind Greenwich in November: 08:00 there is 13:00 UTC.
	r.timeZone(t, "America/New_York")
	r.orderingRules(t, &orderv1.OrderingSettings{
		CutoffTime: "08:00", CutoffDaysBefore: 1, ClosedDays: []*orderv1.ClosedDay{{Date: "2026-11-27", Name: "Founders' Day"}},
	})
	at := noon.Add(time.Hour)
	diff(t, "before it", &orderv1.Cutoff{
		DeliveryDate: tomorrow, CutoffAt: timestamppb.New(at), Now: timestamppb.New(noon), Open: true, TimeZone: "America/New_York",
	}, cutoff())
	r.clock.Set(at.Add(-time.Second))
	placed := must[*orderv1.Order](t)(r.PlaceOrder(buyer, &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: wants("anchor", tomorrow, "white", 3)}))

	r.clock.Set(at)
	if cutoff().GetOpen() {
		t.Error("open at the cut-off")
	}
	lines := wants("anchor", tomorrow, "white", 4).GetLines()
	change := &orderv1.ChangeOrderRequest{RequestId: ids.New(), OrderId: placed.GetOrderId(), Lines: lines, Etag: placed.GetEtag()}
	f := refused(t, call(r.ChangeOrder, change)(buyer), fault.Precondition, "CUTOFF_PASSED", "order anchor-20261126")
	if f.Meta["cutoffAt"] != "2026-11-25T13:00:00Z" {
		t.Errorf("told of the cut-off: %v", f.Meta)
	}
	cancel := &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: placed.GetOrderId(), Etag: placed.GetEtag()}
	refused(t, call(r.CancelOrder, cancel)(buyer), fault.Precondition, "CUTOFF_PASSED", "order anchor-20261126")
	other := wants("anchor", tomorrow, "oyster", 1)
	other.OrderId = "anchor-too-late"
	refused(t, call(r.PlaceOrder, &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: other})(buyer), fault.Precondition, "CUTOFF_PASSED", "order.delivery_date")
	for what, err := range map[string]error{
		"what is there already":  call(r.PlaceOrder, &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: wants("anchor", tomorrow, "white", 3)})(buyer),
		"for a later day":        call(r.PlaceOrder, &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: wants("anchor", "2026-11-28", "white", 3)})(buyer),
		"the coordinator's word": call(r.ChangeOrder, change)(r.office(t)),
	} {
		if err != nil {
			t.Errorf("%s after the cut-off: %v", what, err)
		}
	}

	refused(t, call(r.PlaceOrder, &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: wants("anchor", "2026-11-27", "white", 3)})(buyer), fault.Precondition, "CLOSED_DAY", "order.delivery_date")
	closed := must[*orderv1.Cutoff](t)(r.GetCutoff(buyer, &orderv1.GetCutoffRequest{DeliveryDate: "2026-11-27"}))
	if closed.GetOpen() || closed.GetClosedDay() != "Founders' Day" {
		t.Errorf("a day without deliveries: %v", closed)
	}
}

// An order that was cancelled gives its usual name to the next one.
func TestACancelledDayCanBeOrderedForAgain(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	first := r.place(t, wants("anchor", tomorrow, "white", 3))[0]
	must[*orderv1.Order](t)(r.CancelOrder(r.office(t), &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: first.GetOrderId(), Etag: first.GetEtag()}))
	second := r.place(t, wants("anchor", tomorrow, "white", 5))[0]
	if second.GetOrderId() != first.GetOrderId() || second.GetVersion() != 3 || second.GetState() != orderv1.OrderState_ORDER_STATE_PLACED {
		t.Errorf("ordered again: %v", second)
	}
	diff(t, "as it is kept", second, r.day(t, tomorrow))
}

func TestOrderingSettings(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	get := func() *orderv1.OrderingSettings {
		return must[*orderv1.OrderingSettings](t)(r.GetOrderingSettings(r.office(t), &orderv1.GetOrderingSettingsRequest{}))
	}
	diff(t, "before the first save", &orderv1.OrderingSettings{}, get())
	given := func() *orderv1.OrderingSettings {
		return &orderv1.OrderingSettings{CutoffTime: "14:00", CutoffDaysBefore: 1, HorizonDays: 10, ClosedDays: []*orderv1.ClosedDay{
			{Date: "2026-12-26", Name: "Saint Stephen's Day"}, {Date: "2026-12-25", Name: "Christmas Day"},
		}}
	}
	saved := r.orderingRules(t, given())
	diff(t, "as read again", saved, get())
	if saved.GetClosedDays()[0].GetDate() != "2026-12-25" {
		t.Errorf("closed days stand as %v", saved.GetClosedDays())
	}
	diff(t, "saved again", saved, r.orderingRules(t, given()))
	save := func(s *orderv1.OrderingSettings) error {
		return call(r.SaveOrderingSettings, &orderv1.SaveOrderingSettingsRequest{RequestId: ids.New(), Settings: s})(r.office(t))
	}
	for name, test := range map[string]struct {
		spoil  func(*orderv1.OrderingSettings)
		kind   fault.Kind
		reason string
		field  string
	}{
		"no such time":        {func(s *orderv1.OrderingSettings) { s.CutoffTime = "24:00" }, fault.Invalid, "", "settings.cutoff_time"},
		"days without a time": {func(s *orderv1.OrderingSettings) { s.CutoffTime = "" }, fault.Invalid, "", "settings.cutoff_time"},
		"no such day":         {func(s *orderv1.OrderingSettings) { s.ClosedDays[1].Date = "2026-02-30" }, fault.Invalid, "", "settings.closed_days[1].date"},
		"a day twice":         {func(s *orderv1.OrderingSettings) { s.ClosedDays[1].Date = "2026-12-26" }, fault.Invalid, "", "settings.closed_days[1].date"},
		"too far ahead":       {func(s *orderv1.OrderingSettings) { s.HorizonDays = 61 }, fault.Invalid, "", "settings.horizon_days"},
		"not as read":         {func(s *orderv1.OrderingSettings) { s.HorizonDays = 9 }, fault.Stale, "ETAG_NEEDED", "settings.etag"},
		"stale":               {func(s *orderv1.OrderingSettings) { s.HorizonDays, s.Etag = 9, "v7" }, fault.Stale, "STALE_ETAG", "settings.etag"},
	} {
		s := given()
		test.spoil(s)
		t.Run(name, func(t *testing.T) { refused(t, save(s), test.kind, test.reason, test.field) })
	}
	without := &orderv1.OrderingSettings{Etag: saved.GetEtag()}
	if err := save(without); err != nil {
		t.Fatal(err)
	}
	if now := get(); now.GetCutoffTime() != "" || len(now.GetClosedDays()) > 0 {
		t.Errorf("what was taken out is there: %v", now)
	}
}
