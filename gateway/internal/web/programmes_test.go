package web_test

import (
	"net/http"
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

const whiteShelves = "/programmes?programme=white-shelves"

func TestProgrammesInWords(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	r.get("/quarter").ok().says("a", "Crop programmes")
	p := r.get("/programmes").ok()
	p.says("li", "White mushroom on shelves white-shelves comes with the suite").says("p", "version 3 · trays").without("#one")
	p = r.get(whiteShelves).ok()
	p.says("#t-stages tr", "Spawn run 14 17 21 4 spawn-run").says("#t-inputs tr", "Compost or substrate 99.3 wet compost as filled practice")
	p.says("#t-sources tr", "spawn-run 14-21 d: D. M. Beyer").says("#t-breaks tr", "First pick after Casing begins 15 18 21 days").says(".plainlist li", "Carbon dioxide builds up")
	p.says("p", "planned keep the version with which they were planned")
	if p := r.get("/programmes?programme=none"); p.status != http.StatusNotFound {
		t.Errorf("an unknown programme answered %d", p.status)
	}
	r.be(fakecoop.Who(identity.Grower, "alder-brook"))
	r.get(whiteShelves).ok().without("#change")
}

func TestCopyAProgrammeAndChangeIt(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get(whiteShelves).ok()

	// All that is wrong is told at once, beside its field, and what was typed stays.
	bad := r.submit(p, "/programmes", map[string]string{"programme_id": "brown-trays", "stages_1_days_usual": "x", "stages_3_days_usual": "8", "breaks_yield_grams_per_m2_usual": "", "shares": "a b"})
	if bad.status != http.StatusBadRequest || r.coop.Calls("SaveProgramme") != 0 {
		t.Errorf("answered %d", bad.status)
	}
	bad.says(".alert", "5 fields").says("#programme-programme_id-error", "brown-trays is taken").says("#programme-source-error", "our records").
		says("#programme-breaks_yield_grams_per_m2_usual-error", "Give a figure").says("#programme-stages_1_days_usual-error", "x").says("#programme-shares-error", "a b")
	if got := bad.form("/programmes"); got.Get("stages_3_days_usual") != "8" || got.Get("shares") != "a b" {
		t.Errorf("what was typed is gone: %v", got)
	}

	// The service's refusals stand at the range they speak of.
	refused := r.submit(p, "/programmes", map[string]string{"programme_id": "white-quick", "stages_3_days_usual": "8", "stages_1_days_least": "30", "source": "our records of 2025"})
	refused.says("#programme-stages_1_days_usual-error", "must not fall").says("#programme-breaks_first_pick_days_usual-error", "make the usual days equal")

	saved := r.submit(refused, "/programmes", map[string]string{
		"stages_1_days_least": "14", "breaks_first_pick_days_usual": "17", "name": "White, quick", "inputs_spawn_grams_per_m2": "0.8", "shares": "500 300 200",
	}).ok()
	saved.says(".done", "Kept: white-quick, version 1.").says("#t-sources tr", "own our records of 2025 the co-op’s own records")
	got := r.coop.Programmes[2]
	if got.GetProgrammeId() != "white-quick" || got.GetName() != "White, quick" || got.GetBuiltIn() || got.GetInputs().GetSpawn().GetGramsPerM2() != 800 || len(got.GetBreaks().GetShares().GetPerMille()) != 3 {
		t.Errorf("saved %v", got)
	}
	for what, pair := range map[string][2]string{
		"case run": {got.GetStages()[3].GetDays().GetSource(), "own"}, "spawn": {got.GetInputs().GetSpawn().GetSource(), "own"},
		"spawn run, unchanged": {got.GetStages()[1].GetDays().GetSource(), "spawn-run"}, "compost, unchanged": {got.GetInputs().GetCompost().GetSource(), "practice"},
	} {
		if pair[0] != pair[1] {
			t.Errorf("%s names the source %q, want %q", what, pair[0], pair[1])
		}
	}
	if before := r.coop.Programmes[1]; before.GetProgrammeId() != "white-shelves" || before.GetInputs().GetSpawn().GetGramsPerM2() != 700 {
		t.Errorf("the programme copied is %v", before)
	}
}

func TestNextVersionOfAProgramme(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator, func(c *fakecoop.Coop) { c.Settings.MassUnit = schedulingv1.MassUnit_MASS_UNIT_POUND })
	p := r.get(whiteShelves).ok()
	typed := map[string]string{"as": "version", "strain": "white hybrid strain B"}
	r.submit(p, "/programmes", typed).ok().says(".done", "Kept: white-shelves, version 2.")
	got := r.coop.Programmes[1]
	// What is shown in pounds and not touched is not rounded, and keeps its source.
	if got.GetStrain() != typed["strain"] || got.GetInputs().GetCompost().GetGramsPerM2() != 99_300 || len(got.GetSources()) != 2 {
		t.Errorf("saved %v", got)
	}
	stale := r.submit(p, "/programmes", map[string]string{"as": "version", "strain": "another"})
	if stale.status != fault.Stale.HTTP() {
		t.Errorf("a version that is gone answered %d", stale.status)
	}
	stale.says(".alert", "Version 2 stands now.")
}
