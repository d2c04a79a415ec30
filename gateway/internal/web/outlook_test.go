package web_test

import (
	"net/http"
	"net/url"
	"testing"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

func TestDemandIsShownAndOverruled(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/demand?product=white-closed-2kg").ok()
	p.says("#t-demand tr", "Mon 23 Nov 150.0 400.0 120.0 400.0 –").says("#t-demand tr", "Mon 21 Dec 150.0 400.0 120.0 400.0 Christmas").
		says("#t-scores tr", "smoothed level 42.0 70.0 %").says("#t-holidays tr", "Christmas 125.0 % 1").says("p.why", "Forecast by: smoothed level. Weeks of history: 60.")
	form := p.form("/demand/overrule")
	if form.Get("form") != "2026-11-23" || form.Get("product") != "white-closed-2kg" {
		t.Errorf("the first form is of %v", form)
	}
	form.Set("grams", "120.5")
	if p := r.post("/demand/overrule", form); p.status != http.StatusBadRequest {
		t.Errorf("no reason answered %d", p.status)
	} else {
		p.says(".error", "Say why")
	}
	form.Set("reason", "the hotel is closed")
	r.post("/demand/overrule", form).ok().says(".done", "Kept.").says("#t-demand tr", "Mon 23 Nov 150.0 400.0 120.0 120.5 the hotel is closed")
	if o := r.coop.Overruled[0]; o.GetGrams() != 120_500 || o.GetWeek() != "2026-11-23" {
		t.Errorf("overruled %v", o)
	}
	back := r.get("/demand?product=white-closed-2kg").form("/demand/overrule")
	if back.Get("etag") != "o1" || back.Get("grams") != "120.5" {
		t.Errorf("the form has %v", back)
	}
	back.Set("grams", "")
	r.post("/demand/overrule", back).ok()
	if o := r.coop.Overruled[1]; o.Grams != nil || o.GetEtag() == "" {
		t.Errorf("taken back as %v", o)
	}
	if p := r.get("/demand?product=nothing"); p.status != http.StatusNotFound {
		t.Errorf("no such product answered %d", p.status)
	}
}

func TestPlanningSettingsAreKept(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/planning").ok()
	form := p.form("/planning/weights")
	for name, value := range map[string]string{"compost": "95", "balance": "0.40", "farm_minutes": "2400", "peak": "12.5", "short-white-closed-2kg": "4.50", "over-white-closed-2kg": "0"} {
		form.Set(name, value)
	}
	r.post("/planning/weights", form).ok().says(".done", "Kept.")
	s := r.coop.Planning
	if s.GetCompostMinorPerTonne() != 9_500 || s.GetBalanceMinorPerKg() != 40 || s.GetFarmMinutesPerWeek() != 2_400 || s.GetPeakMinorPerHour() != 1_250 || s.SpawnMinorPerKg != nil ||
		len(s.GetProducts()) != 1 || s.GetProducts()[0].GetShortMinorPerKg() != 450 || s.GetProducts()[0].OverMinorPerKg == nil {
		t.Errorf("kept %v", s)
	}
	again := r.get("/planning").ok().form("/planning/weights")
	if again.Get("balance") != "0.40" || again.Get("farm_minutes") != "2400" || again.Get("spawn") != "" || again.Get("over-white-closed-2kg") != "0.00" {
		t.Errorf("the form has %v", again)
	}
	form.Set("request_id", again.Get("request_id"))
	r.post("/planning/weights", form).says(".alert", "changed meanwhile by Piotr")
	again.Set("peak", "dear")
	r.post("/planning/weights", again).says(".error", "dear")
}

func TestWorkingDaysAreKept(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	pinning := &schedulingv1.WorkRule{Kind: schedulingv1.StageKind_STAGE_KIND_PINNING, ClosedOnHolidays: true}
	r.coop.Working = &schedulingv1.WorkingDays{Etag: "w1", Rules: []*schedulingv1.WorkRule{pinning}, MarkedDays: []*schedulingv1.MarkedDay{{Date: "2026-12-25", Name: "Christmas", Closed: true}}}
	form := r.get("/planning").ok().form("/planning/days")
	if form.Get("date-0") != "2026-12-25" || form.Get("closed") != "0" {
		t.Errorf("the form has %v", form)
	}
	form["filling"] = []string{"7", "holidays"}
	form.Set("date-1", "2027-02-14")
	if p := r.post("/planning/days", form); p.status != http.StatusBadRequest {
		t.Errorf("a day without a name answered %d", p.status)
	} else {
		p.says(".error", "A marked day needs its date and its name.")
	}
	form.Set("name-1", "Valentine’s Day")
	r.post("/planning/days", form).ok().says(".done", "Kept.")
	w := r.coop.Working
	if len(w.GetRules()) != 2 || w.GetRules()[0].GetKind() != pinning.GetKind() || w.GetRules()[1].GetClosedOn()[0] != schedulingv1.DayOfWeek_DAY_OF_WEEK_SUNDAY || !w.GetRules()[1].GetClosedOnHolidays() {
		t.Errorf("rules %v", w.GetRules())
	}
	if d := w.GetMarkedDays(); len(d) != 2 || !d[0].GetClosed() || d[1].GetClosed() || d[1].GetName() != "Valentine’s Day" {
		t.Errorf("days %v", d)
	}
	closed := r.get("/planning").form("/planning/days")
	closed["casing"] = []string{"1", "2", "3", "4", "5", "6", "7"}
	r.post("/planning/days", closed).says(".alert", "Casing would have no day left")
}

func TestMonthToPrint(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	crop := r.coop.Crops[0]
	first := crop.GetStages()[0]
	p := r.get("/month?of=room:" + crop.GetRoomId() + "&month=" + first.GetStartDate()[:7]).ok()
	p.says("table.month th", "Monday").says("h1", "Alder Brook Farm")
	if n := len(all(p.root, "td")); n%7 != 0 || n < 28 {
		t.Errorf("%d days in the grid", n)
	}
	p.says("td li", "House")
	slot := r.coop.Slots[0]
	r.get("/month?of=yard:"+slot.GetYardId()+"&month="+slot.GetReadyDate()[:7]).ok().says("td li", "Slot ready")
	for _, month := range []string{"soon", "1900-01", "2026-13"} {
		if p := r.get("/month?month=" + month); p.status != http.StatusBadRequest {
			t.Errorf("month %s answered %d", month, p.status)
		}
	}
	// A grower sees the own farm's, whatever the address asks for.
	grown := visit(t, grower)
	grown.get("/month?of=room:birch-hollow-1&month=2026-12").ok().says("h1", "Alder Brook Farm").without("option[value='room:birch-hollow-1']")
}

func TestForbiddenFillsStayForbidden(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	fill := "alder-brook-3,white-shelf,2026-12-07,2026-12-09"
	p := r.get("/proposals?run=yes&fill=" + url.QueryEscape(fill) + "&never=" + url.QueryEscape(fill)).ok()
	p.says("li", "House 3 , Week of Mon 7 Dec white-shelf").says("#t-kept-farms tr", "Alder Brook Farm 900.0 750.0 Mon 7 Dec 2 400 2").says("tbody tr", "Wishes (fair parts, work, keeping the plan) add 40.00 EUR 40.00 EUR")
	for _, req := range r.coop.Proposed {
		if len(req.GetPins()) != 0 || len(req.GetForbids()) != 1 || req.GetForbids()[0].GetRoomId() != "alder-brook-3" || req.GetForbids()[0].GetWeek() != "2026-12-07" {
			t.Errorf("asked %v", req)
		}
	}
	if got := p.form("/proposals/accept")["never"]; len(got) == 0 || got[0] != fill {
		t.Errorf("the next form forbids %v", got)
	}
	if p := r.get("/proposals?run=yes&never=x"); p.status != http.StatusBadRequest {
		t.Errorf("an unreadable fill answered %d", p.status)
	}
}

func TestConflictsAndOverdueStepsAreMended(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	crop := r.coop.Crops[0]
	crop.State, crop.Etag = schedulingv1.CropState_CROP_STATE_PLANNED, "v7"
	r.coop.Conflicts = []*schedulingv1.CropConflict{{RoomId: crop.GetRoomId(), FirstCropId: "x", SecondCropId: crop.GetCropId(), FromDate: "2026-12-01", UntilDate: "2026-12-04", MoveCropId: crop.GetCropId(), MoveDays: 3}}
	r.coop.Overdue = []*schedulingv1.OverdueStage{{CropId: "x", RoomId: crop.GetRoomId(), FarmId: crop.GetFarmId(), Kind: schedulingv1.StageKind_STAGE_KIND_CASING, ExpectedDate: "2026-11-23", Days: 2}}
	r.coop.Crops = r.coop.Crops[:1]
	p := r.get("/quarter").ok()
	form := p.form("/quarter/move")
	if form.Get("crop") != crop.GetCropId() || form.Get("etag") != "v7" || form.Get("beyond_slots") != "" {
		t.Errorf("the form has %v", form)
	}
	refused := r.post("/quarter/move", form).says(".alert", "The published slots of that week give 20,000 kg.").says("label.tick", "Even where the yards")
	again := refused.form("/quarter/move")
	again.Set("beyond_slots", "yes")
	again.Set("request_id", r.get("/quarter").form("/quarter/move").Get("request_id"))
	r.post("/quarter/move", again).ok().says(".done", "Crops moved: 1.")
	if m := r.coop.MovedTo[0]; m.GetFillDate() != form.Get("fill_date") || !m.GetBeyondSlots() {
		t.Errorf("moved %v", m)
	}
	r.submit(r.get("/quarter"), "/quarter/shift", nil).ok().says(".done", "Crops moved: 2.").without("form[action='/quarter/shift']")
}
