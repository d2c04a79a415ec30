package web_test

import (
	"net/http"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"breakshare.example/gateway/internal/fakecoop"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/identity"
)

// The cut-off is at 16:00 on the day before, on the co-op's own clock.
func TestCutOffCountsDownAndClosesTheDay(t *testing.T) {
	t.Parallel()
	r := visit(t, buyer)
	zone, err := time.LoadLocation(r.coop.Settings.GetTimeZone())
	if err != nil {
		t.Fatal(err)
	}
	r.coop.Clock.Set(time.Date(2026, 11, 25, 14, 48, 30, 0, zone))
	p := r.get("/orders").ok().says("#d-2026-11-26 .cutoff", "Open until Wed 25 Nov 16:00. 1 h 11 min left")
	if left := attr(find(p.root, "#d-2026-11-26 b"), "data-left"); left != "4290" {
		t.Errorf("the script counts down from %s s", left)
	}
	if find(p.root, "#d-2026-11-26 form") == nil || find(p.root, "#d-2026-11-25 form") != nil {
		t.Error("tomorrow can be changed, and today cannot")
	}
	r.coop.Clock.Set(time.Date(2026, 11, 25, 16, 0, 0, 0, zone))
	r.get("/orders").ok().says("#d-2026-11-26", "The cut-off was Wed 25 Nov 16:00. Ring the office").without("#d-2026-11-26 form").says("#d-2026-11-27 form", "")
	// The office may change what is ordered.
	office := visit(t, coordinator)
	office.coop.Clock.Set(time.Date(2026, 11, 25, 17, 0, 0, 0, zone))
	office.get("/orders?customer=copper-pan").ok().says("#d-2026-11-26 form", "")
	// A day without deliveries, and a co-op without a cut-off.
	r.coop.Rules.ClosedDays = append(r.coop.Rules.ClosedDays, &orderv1.ClosedDay{Date: "2026-11-27", Name: "Hilltop Fair"})
	r.coop.Rules.CutoffTime = ""
	r.get("/orders").ok().says("#d-2026-11-27", "No deliveries: Hilltop Fair").without("#d-2026-11-27 form").without(".cutoff").says("#d-2026-11-26 form", "")
}

func TestWhatIsLikelyToBeShort(t *testing.T) {
	t.Parallel()
	r := visit(t, buyer)
	r.get("/orders").ok().says(".alert", "White closed cups, 2 kg : 26 of 30 packs are likely. Less is likely to be there than all kitchens want. By a match that is not confirmed yet.")
	r.coop.Likely = r.coop.Likely[:1]
	r.get("/orders").ok().says(".note", "All that you ordered is likely to come.").without(".alert")
	r.coop.Likely = nil
	r.get("/orders").ok().without("#likely")
}

func TestDeliveriesAndWhatIsWrongWithThem(t *testing.T) {
	t.Parallel()
	r := visit(t, buyer)
	p := r.get("/deliveries").ok().says("section", "30 packs White closed cups, 2 kg alder-brook-1-white-closed-2kg-20261125").says(".caution", "do not serve it")
	r.submit(p, "/deliveries/received", nil).says(".error", "write 0 if none came")
	refused := r.submit(r.get("/deliveries"), "/deliveries/received", map[string]string{"received_packs": "40", "remark.0": "slimy", "product.0": "white-closed-2kg", "kind.0": "wet"})
	refused.says(".error", "with how many packs")
	if got := refused.form("/deliveries/received"); got.Get("remark.0") != "slimy" || got.Get("kind.0") != "wet" || got.Get("product.0") != "white-closed-2kg" {
		t.Errorf("what was typed is gone: %v", got)
	}
	r.submit(r.get("/deliveries"), "/deliveries/received", map[string]string{
		"received_packs": "40", "remark": "two boxes wet", "product.0": "white-closed-2kg", "kind.0": "wet", "packs.0": "2", "remark.0": "slimy", "product.1": "oyster-1kg", "kind.1": "missing", "packs.1": "1",
	}).ok().says(".done", "Thank you")
	want := []*orderv1.ReceiptProblem{
		{ProductId: "white-closed-2kg", Kind: orderv1.ReceiptProblemKind_RECEIPT_PROBLEM_KIND_WET, Packs: 2, Remark: "slimy"}, {ProductId: "oyster-1kg", Kind: orderv1.ReceiptProblemKind_RECEIPT_PROBLEM_KIND_MISSING, Packs: 1},
	}
	if len(r.coop.Received) != 1 || r.coop.Received[0].GetReceivedPacks() != 40 || r.coop.Received[0].GetOrderId() != "copper-pan-20261125" {
		t.Fatalf("noted %v", r.coop.Received)
	}
	if diff := cmp.Diff(want, r.coop.Received[0].GetProblems(), protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
	r.coop.Deliveries[0].State = orderv1.DeliveryState_DELIVERY_STATE_CONFIRMED
	r.get("/deliveries").ok().says("section", "All of it is confirmed").without("section form")
	r.coop.Deliveries = nil
	r.get("/deliveries").ok().says("main", "Nothing has come in the last two weeks.")
}

func TestStandingOrder(t *testing.T) {
	t.Parallel()
	r := visit(t, buyer)
	p := r.get("/standing").ok().says("section", "Every week from Thursday 26 November").says("li.short", "Fri 27 Nov").says("li.short", "you ordered something else: that stands").says("li", "10 packs Oyster clusters, 1 kg ordered")
	values := p.form("/standing/save")
	if values.Get("product.1") != "white-closed-2kg" || values.Get("packs.1") != "24" || values.Get("least.1") != "6" || values["days.0"] == nil || values.Get("rest_note.0") != "closed over Christmas" {
		t.Errorf("the form says %v", values)
	}
	values.Set("least.1", "25")
	refused := r.post("/standing/save", values)
	refused.says(".error", "is more than packs")
	if got := refused.form("/standing/save"); got.Get("least.1") != "25" || len(got["days.0"]) != 2 {
		t.Errorf("what was typed is gone: %v", got)
	}
	values.Set("least.1", "8")
	values.Set("paused", "yes")
	values["days.1"] = []string{"monday", "saturday"}
	r.post("/standing/save", values).ok().says(".done", "Saved.").says(".tally", "resting")
	kept := r.coop.Standing[0]
	if !kept.GetPaused() || kept.GetLines()[1].GetSmallestPacks() != 8 || kept.GetLines()[1].GetWeekdays()[1] != orderv1.Weekday_WEEKDAY_SATURDAY || kept.GetExceptions()[0].GetUntilDate() != "2027-01-02" {
		t.Errorf("kept %v", kept)
	}
	// A new one, sent twice, is one.
	fresh := fields(find(find(r.get("/standing").root, "details.card"), "form"))
	fresh.Set("product.0", "oyster-1kg")
	fresh.Set("packs.0", "3")
	fresh.Set("days.0", "sunday")
	for range 2 {
		r.post("/standing/save", fresh).ok()
	}
	if len(r.coop.Standing) != 2 || r.coop.Standing[1].GetCustomerId() != "copper-pan" || r.coop.Standing[1].GetFromDate() != fakecoop.Tomorrow {
		t.Errorf("there are %v", r.coop.Standing)
	}
	r.submit(r.get("/standing"), "/standing/end", nil).ok().says(".done", "Ended.")
	if !r.coop.Standing[0].GetEnded() {
		t.Error("the first is not ended")
	}
	if p := visit(t, fakecoop.Who(identity.Coordinator, "")).get("/standing"); p.status != http.StatusForbidden {
		t.Errorf("the office without a kitchen gets %d", p.status)
	}
}
