package web_test

import (
	"net/http"
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

func TestPlanACropForwardsAndBackwards(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	r.get("/quarter").ok().says("a", "Plan a crop")
	r.get("/plan").ok().says("option", "Birch Hollow, Long shed").without(".card")
	p := r.get("/plan?room=birch-hollow-1").ok()
	p.says("option", "White mushroom on shelves, version 1").says("li", "filled Mon 5 Oct")
	if got := len(all(p.root, "#plan-programme option")); got != 1 {
		t.Errorf("%d programmes to choose from for shelves, want one", got)
	}
	action := "/plan?room=birch-hollow-1"
	done := r.submit(p, action, map[string]string{"date": "2027-01-11"}).ok()
	done.says(".done", "Planned: birch-hollow-1-20270111.").says("dd", "22 000.0 kg of compost or substrate, 120.0 kg of spawn").says("#t-steps tr", "Cropping")
	backwards := r.submit(done, action, map[string]string{"which": "first_pick", "date": "2027-06-15"}).ok()
	backwards.says(".done", "Planned: birch-hollow-1-20270501.")
	if got := r.coop.Plans[1].GetPlan(); got.GetFirstPickDate() != "2027-06-15" || got.GetFillDate() != "" || got.GetProgrammeId() != "white-shelves" {
		t.Errorf("asked for %v", got)
	}
}

func TestPlanRefusedSaysWhatToDo(t *testing.T) {
	t.Parallel()
	r := visit(t, fakecoop.Who(identity.Grower, "alder-brook"))
	r.get("/rooms").ok().says("a", "Plan a crop")
	action := "/plan?room=alder-brook-1"
	p := r.get(action).ok()

	taken := r.submit(p, action, map[string]string{"date": "2026-12-20"})
	if taken.status == http.StatusOK || taken.form(action).Get("date") != "2026-12-20" {
		t.Errorf("answered %d with %v", taken.status, taken.form(action))
	}
	taken.says("p", "alder-brook-1-20261001 and alder-brook-1-20261220 would both hold the place").says("p", "alder-brook-1-20261220 by 4 days").says("span.error", "the room is held")

	over := r.submit(p, action, map[string]string{"date": "2027-03-03"})
	over.says("p", "need 22 000 kg; the published slots give 20 000 kg")
	form := over.form(action)
	form.Set("beyond_slots", "yes")
	if len(all(over.root, "section label.tick")) != 3 {
		t.Error("no box to plan it all the same")
	}
	r.post(action, form).ok().says(".done", "alder-brook-1-20270303")
	if !r.coop.Plans[0].GetBeyondSlots() {
		t.Error("not planned beyond the slots")
	}

	r.submit(p, action, map[string]string{"date": ""}).says("span.error", "Give a date")
	r.coop.Fail("PlanCrop", fault.New(fault.Invalid, "CLOSED_DAY", "x").WithField("plan.fill_date", "nobody fills on that day").WithMeta("before", "2027-06-11").WithMeta("after", "2027-06-14"))
	r.submit(p, action, map[string]string{"date": "2027-06-13"}).says("span.error", "nobody fills on that day").says("p", "Monday 14 June")
}
