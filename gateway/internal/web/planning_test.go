package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"breakshare.example/services/platform/fault"
)

func TestProposalsSideBySideAndAccepted(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	r.get("/proposals").ok().without(".ticklist")
	p := r.get("/proposals?run=yes&weeks=26&seconds=5").ok()
	if r.coop.Calls("ProposeFills") != 2 {
		t.Errorf("%d searches, want one each way", r.coop.Calls("ProposeFills"))
	}
	p.says("thead tr", "Planned crops stay Planned crops may change").says("tbody tr", "Cost in all 5 200.00 EUR 4 700.00 EUR").says("tbody tr", "Above the best possible by at most 1.2 % 1.2 %")
	p.says("li", "Birch Hollow , Long shed Tue 15 Dec · oyster-bags · planned already").says("details", "Without it the plan costs more by 950.00 EUR A week earlier costs the room is not free A week later costs 120.00 EUR").
		says("details li", "Week of 18 Jan: 400.0 kg, 150.0 kg of it would be missing: white mushroom")

	weeks := r.get("/proposals?run=yes&weeks=26&seconds=5&as=csv&table=kept-weeks").ok().text
	if line := "\r\n2026-11-30,\"white mushroom, closed\",300000,150000,500000,50000,\r\n"; !strings.Contains(weeks, line) {
		t.Errorf("the file of weeks has no line %q:\n%s", line, weeks)
	}
	form := url.Values{"request_id": {p.form("/proposals/accept").Get("request_id")}, "form": {"kept"}, "run": {"yes"}}
	empty := r.post("/proposals/accept", form)
	if empty.status != http.StatusBadRequest || len(r.coop.Accepted) != 0 {
		t.Errorf("nothing ticked answered %d", empty.status)
	}
	empty.says(".alert", "Tick at least one fill")

	form.Set("fill", "alder-brook-1,white-shelf,2026-12-07,2026-12-09")
	r.post("/proposals/accept", form).says(".alert", "House 1 is taken until 27 December.")
	form.Set("fill", "alder-brook-3,white-shelf,2026-12-07,2026-12-09")
	form.Set("drop", "birch-hollow-1-20261215,4")
	r.post("/proposals/accept", form).ok().says(".done", "Crops planned: 1.")
	got := r.coop.Accepted[0]
	if f := got.GetFills()[0]; f.GetRoomId() != "alder-brook-3" || f.GetProgrammeId() != "white-shelf" || f.GetFillDate() != "2026-12-09" || got.GetCallOffs()[0].GetEtag() != "4" {
		t.Errorf("accepted %v", got)
	}
	form.Set("fill", "alder-brook-3")
	if p := r.post("/proposals/accept", form); p.status != http.StatusBadRequest {
		t.Errorf("half a fill answered %d", p.status)
	}
}

func TestProposeAgainKeepsTheTicked(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/proposals?run=yes&fill=" + url.QueryEscape("alder-brook-3,white-shelf,2026-12-07,2026-12-09")).ok()
	p.says("label.tick", "House 3 Wed 9 Dec · white-shelf · kept as you asked")
	for _, path := range []string{"/proposals?run=yes&weeks=x", "/proposals?run=yes&seconds=0", "/proposals?weeks=54", "/proposals?run=yes&fill=x"} {
		if p := r.get(path); p.status != http.StatusBadRequest {
			t.Errorf("%s answered %d", path, p.status)
		}
	}
	r.coop.Fail("ProposeFills", fault.New(fault.Precondition, "NO_PROGRAMME", "No programme suits any room."))
	r.get("/proposals?run=yes").says(".alert", "No programme suits any room.")
}

func TestWhatIf(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/whatif").ok()
	if p := r.submit(p, "/whatif", nil); p.status != http.StatusBadRequest {
		t.Errorf("no change answered %d", p.status)
	}
	if p := r.submit(p, "/whatif", map[string]string{"demand_percent": "-5"}); p.status != http.StatusBadRequest {
		t.Errorf("-5 %% answered %d", p.status)
	}
	answer := r.submit(p, "/whatif", map[string]string{"demand_percent": "115", "room_lost": "alder-brook-1", "yard_down": "*", "from_week": "2026-12-09", "weeks": "3"}).ok()
	answer.says(".lead", "Cost 900.00 EUR more · compost −22.0 t more").says("tr", "white mushroom, closed 0.0 −400.0 380.0 0.0").says("li", "Long shed no longer in the week of 14 Dec: oyster-bags").without(".alert")
	if got := answer.form("/whatif"); got.Get("demand_percent") != "115" || got.Get("room_lost") != "alder-brook-1" {
		t.Errorf("what was asked is gone: %v", got)
	}
	asked := r.coop.Asked[0].GetChanges()
	if down := asked[2].GetYardDown(); asked[0].GetDemandPercent() != 115 || asked[1].GetRoomLost() != "alder-brook-1" || down.GetYardId() != "" || down.GetFromWeek() != "2026-12-07" || down.GetWeeks() != 3 {
		t.Errorf("asked %v", asked)
	}
}
