package web_test

import (
	"net/http"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

func TestUnitsAreChosenForTheCoop(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p, other := r.get("/settings").ok(), r.get("/settings").ok()
	r.submit(p, "/settings/units", map[string]string{"mass": "lb", "temperature": "F"}).ok().says(".done", "Saved")
	if r.coop.Settings.GetMassUnit() != schedulingv1.MassUnit_MASS_UNIT_POUND || r.coop.Settings.GetTemperatureUnit() != schedulingv1.TemperatureUnit_TEMPERATURE_UNIT_FAHRENHEIT {
		t.Errorf("saved %v", r.coop.Settings)
	}
	r.get("/tomorrow").ok().says("#t-left th", "lb")
	// Somebody else was faster.
	if stale := r.submit(other, "/settings/units", map[string]string{"mass": "kg"}); stale.status != http.StatusConflict {
		t.Errorf("a stale form answers %d", stale.status)
	} else {
		stale.says(".alert", "Piotr at 13:20")
	}
}

func TestRulesOfTheMatch(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/settings").ok()
	r.submit(p, "/settings/match", map[string]string{
		"left_rule": "by_shares", "correlation_thousandths": "37.5", "broken.": "4", "unsold.": "1,50", "zone_farm.1": "birch-hollow", "zone_id.1": "hill", "zone_cost.1": "0.22",
		"held_farm.0": "alder-brook", "held_reason.0": "sheds are cleaned", "grades": "I, II , III",
	}).ok().says(".done", "Saved")
	want := &orderv1.MatchSettings{
		ShortRule: orderv1.ShortRule_SHORT_RULE_BY_ORDERED, LeftRule: orderv1.LeftRule_LEFT_RULE_BY_SHARES, SeasonTiltPercent: 40, CorrelationThousandths: 375, Etag: "2", Grades: []string{"I", "II", "III"},
		PromiseCosts: []*orderv1.PromiseCost{{BrokenMinorPerKg: 400, UnsoldMinorPerKg: 150}, {ProductId: "white-closed-2kg", BrokenMinorPerKg: 300, UnsoldMinorPerKg: 120}},
		ZoneCosts:    []*orderv1.ZoneCost{{FarmId: "alder-brook", ZoneId: "harbour", MinorPerKg: 18}, {FarmId: "birch-hollow", ZoneId: "hill", MinorPerKg: 22}},
		HeldFarms:    []*orderv1.FarmHold{{FarmId: "alder-brook", Reason: "sheds are cleaned"}},
	}
	if diff := cmp.Diff(want, r.coop.Sharing, protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
	for _, c := range []struct{ field, typed, says string }{
		{"correlation_thousandths", "12.55", "one decimal"}, {"correlation_thousandths", "101", "0 to 100"}, {"season_tilt_percent", "101", "At most 100"},
		{"broken.oyster-1kg", "0", "both costs are 0"}, {"unsold.oyster-1kg", "x", "not an amount"}, {"held_farm.1", "birch-hollow", "at least 1 character"}, {"zone_cost.0", "-1", "not an amount"},
	} {
		refused := r.submit(r.get("/settings").ok(), "/settings/match", map[string]string{c.field: c.typed, "grades": "kept"})
		if refused.status != http.StatusBadRequest {
			t.Errorf("%s %q answers %d", c.field, c.typed, refused.status)
		}
		refused.says(".error", c.says)
		if got := refused.form("/settings/match"); got.Get(c.field) != c.typed || got.Get("grades") != "kept" {
			t.Errorf("what was typed is gone: %v", got)
		}
	}
}

func TestWhenKitchensMayOrder(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	r.submit(r.get("/settings").ok(), "/settings/ordering", map[string]string{"cutoff_time": "14:30", "cutoff_days_before": "2", "closed_date.1": "2027-01-01", "closed_name.1": "New Year"}).ok()
	if o := r.coop.Rules; o.GetCutoffTime() != "14:30" || o.GetCutoffDaysBefore() != 2 || len(o.GetClosedDays()) != 2 || o.GetClosedDays()[1].GetName() != "New Year" {
		t.Errorf("saved %v", o)
	}
	r.submit(r.get("/settings"), "/settings/ordering", map[string]string{"cutoff_time": "25:00"}).says(".error", "“25:00” is no time of day")
}

func TestFarmsFigures(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/settings/farms").ok()
	if same := r.submit(p, "/settings/farms", nil); same.status != http.StatusBadRequest || r.coop.Calls("BatchSaveFarms") != 0 {
		t.Errorf("nothing changed answers %d", same.status)
	}
	r.submit(p, "/settings/farms", map[string]string{"shares.alder-brook": "0"}).says(".error", "equal to 1")
	r.submit(r.get("/settings/farms"), "/settings/farms", map[string]string{"shares.alder-brook": "77", "carry.birch-hollow": "0.31"}).ok()
	if r.coop.Farms[0].GetMemberShares() != 77 || r.coop.Farms[1].GetCarryCostMinorPerKg() != 31 {
		t.Errorf("saved %v", r.coop.Farms)
	}
}

func TestWishesOfAKitchen(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	r.get("/kitchens").ok().says("tr", "Copper Pan")
	p := r.get("/kitchens/copper-pan").ok()
	for _, a := range all(p.root, "p.days a") {
		r.get(attr(a, "href")).ok() // the office looks at a kitchen's orders from here
	}
	typed := map[string]string{"sub_ordered.0": "white-closed-2kg", "sub_instead.0": "white-closed-2kg", "sub_reluctance.0": "0.40", "poorer": "1", "only_farm_id": "birch-hollow", "zone_id": "harbour"}
	refused := r.submit(p, "/kitchens/copper-pan", typed)
	refused.says(".error", "is the product itself")
	typed["sub_instead.0"] = "oyster-1kg"
	values := p.form("/kitchens/copper-pan")
	for name, value := range typed {
		values.Set(name, value)
	}
	values["excluded"], values["one_farm"] = []string{"alder-brook"}, []string{"yes"}
	r.post("/kitchens/copper-pan", values).ok().says(".done", "Saved")
	for _, c := range r.coop.Customers {
		if c.GetCustomerId() != "copper-pan" {
			continue
		}
		if s := c.GetSubstitutes(); len(s) != 1 || s[0].GetInsteadProductId() != "oyster-1kg" || s[0].GetReluctanceMinor() != 40 || !c.GetOneFarm() || c.GetOnlyFarmId() != "birch-hollow" || c.GetGradeSteps().GetPoorer() != 1 || c.GetZoneId() != "harbour" || c.GetExcludedFarmIds()[0] != "alder-brook" {
			t.Errorf("saved %v", c)
		}
	}
	r.get("/kitchens").says("tr", "1 substitute; other grades; not from 1 farm; only from Birch Hollow; a line from one farm")
	if p := r.get("/kitchens/nobody"); p.status != http.StatusNotFound {
		t.Errorf("no kitchen answers %d", p.status)
	}
}
