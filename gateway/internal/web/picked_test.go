package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"breakshare.example/gateway/internal/fakecoop"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
)

func TestWhatWasWeighedStandsWithItsCorrections(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/picked").ok()
	p.says("h1", "Weighed on Wednesday 25 November").says("section.card", "House 1 , White closed cups, 2 kg 80.0 kg")
	p.says("#p-w-1", "618.0 kg 620.0 kg less 2.0 kg · 4 crates ✗ corrected, does not count Picker: Mara · recorded Wed 25 Nov 07:00, Una")
	p.says("#p-w-2", "60.0 kg 62.0 kg less 2.0 kg").says("#p-w-2", "break 3 · Cold room · recorded Wed 25 Nov 08:00, Piotr In place of the entry of Wed 25 Nov 07:00: a nought too many")
	p.says("#p-w-3", "break 2, by the curve").says("#p-w-3", "Sorted: closed first 15.0 kg; open 4.0 kg; unsorted 1.0 kg")
	p.without("#correct-heading")
	if strings.Contains(p.text, "pick=w-1") || !strings.Contains(p.text, "pick=w-2") {
		t.Error("only the newest of a chain can be corrected")
	}
	if of, lots := r.coop.Calls("ListPicks"), r.coop.Calls("ListPickLots"); of != 1 || lots != 0 {
		t.Errorf("%d calls for weighings and %d for lots, want 1 and none", of, lots)
	}
	r.get("/picked?day=2026-12-24").ok().says("main", "Nothing was weighed on this day.")
	r.get("/pick?day=2026-11-25").ok().says("main", "Weighed so far")
	if p := r.get("/picked?day=yesterday"); p.status != http.StatusBadRequest {
		t.Errorf("no day: answered %d", p.status)
	}
	r.be(coordinator)
	r.get("/picked?farm=alder-brook").ok().says("#p-w-3", "Correct this weighing")
	if p := r.get("/picked"); p.status != http.StatusForbidden {
		t.Errorf("the office without a farm: answered %d", p.status)
	}
}

func TestWeighingIsCorrected(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/picked?day=2026-11-25&pick=w-3").ok()
	want := url.Values{"gross_grams": {"22"}, "tare_grams": {"2"}, "crates": {"4"}, "picker": {"Mara"}, "break_number": {""}, "part_grams.0": {"15"}, "part_grade.0": {"first"}, "part_stage.1": {"PICK_STAGE_OPEN"}}
	form := p.form("/pick/correct")
	for name := range want {
		if form.Get(name) != want.Get(name) {
			t.Errorf("%s begins as %q, want %q", name, form.Get(name), want.Get(name))
		}
	}
	p.says("#p-w-3", "2 by the curve")

	typed := map[string]string{"gross_grams": "18", "part_stage.2": "PICK_STAGE_FLAT", "reason": "read off the wrong scale"}
	for name, refused := range map[string]struct {
		typed       map[string]string
		field, says string
	}{
		"no reason":      {map[string]string{"reason": " ", "part_stage.2": ""}, "correct-reason-error", "Say what was wrong"},
		"tare":           {map[string]string{"tare_grams": "18", "part_stage.2": ""}, "correct-tare_grams-error", "less than the gross weight"},
		"no weight":      {map[string]string{"tare_grams": "heavy"}, "correct-tare_grams-error", "heavy"},
		"part unweighed": {nil, "correct-part_grams.2-error", "Say how much this part weighs"},
		"long grade":     {map[string]string{"part_grade.0": strings.Repeat("x", 61)}, "correct-part_grade.0-error", "60"},
		"parts":          {map[string]string{"part_stage.2": ""}, "correct-part_grams.0-error", "more than the mushrooms"},
		"crates":         {map[string]string{"crates": "100001"}, "correct-crates-error", "more than can be"},
	} {
		t.Run(name, func(t *testing.T) {
			sent := map[string]string{}
			for k, v := range typed {
				sent[k] = v
			}
			for k, v := range refused.typed {
				sent[k] = v
			}
			wrong := r.in(t).submit(p, "/pick/correct", sent)
			if wrong.status != http.StatusBadRequest {
				t.Errorf("answered %d", wrong.status)
			}
			wrong.says("#"+refused.field, refused.says)
			for name, value := range sent {
				if got := wrong.form("/pick/correct").Get(name); got != value {
					t.Errorf("%s is %q, was typed as %q", name, got, value)
				}
			}
		})
	}
	if len(r.coop.Picks) != 0 {
		t.Fatalf("refused, yet recorded: %v", r.coop.Picks)
	}

	typed["part_grams.0"], typed["part_grams.2"] = "11.5", "0.5"
	for range 2 {
		done := r.submit(p, "/pick/correct", typed).ok()
		done.says(".done", "Corrected. The earlier entry stays").says("#p-w-3", "✗ corrected, does not count").says("#p-p-1", "16.0 kg 18.0 kg less 2.0 kg").says("#p-p-1", "In place of the entry of Wed 25 Nov 09:00: read off the wrong scale").says("section.card", "76.0 kg")
	}
	number := int32(2)
	entry := &harvestv1.Pick{
		RoomId: "alder-brook-1", ProductId: "white-closed-2kg", Date: fakecoop.Today, GrossGrams: 18_000, TareGrams: 2_000, Crates: 4, Picker: "Mara", BreakNumber: &number, BreakProposed: true,
		Parts: []*harvestv1.PickPart{
			{PickStage: typev1.PickStage_PICK_STAGE_CLOSED, Grade: "first", Grams: 11_500}, {PickStage: typev1.PickStage_PICK_STAGE_OPEN, Grams: 4_000}, {PickStage: typev1.PickStage_PICK_STAGE_FLAT, Grams: 500},
		},
		CorrectsPickId: "w-3", CorrectionReason: "read off the wrong scale",
	}
	if diff := cmp.Diff([]*harvestv1.Pick{entry}, r.coop.Picks, protocmp.Transform(), protocmp.IgnoreFields(&harvestv1.Pick{}, "pick_id", "recorded_at", "recorded_by")); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
}

// Somebody else may have put it right meanwhile: then theirs is what can be corrected.
func TestWeighingCorrectedMeanwhile(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/picked?pick=w-3").ok()
	r.submit(p, "/pick/correct", map[string]string{"crates": "5", "reason": "miscounted"}).ok()
	form := p.form("/pick/correct")
	form.Set("request_id", "0190a1b2-0000-7000-8000-00000000abcd")
	form.Set("crates", "6")
	form.Set("reason", "one more")
	late := r.post("/pick/correct", form)
	late.says(".alert", "corrected already")
	if again := late.form("/pick/correct"); again.Get("pick") != "p-1" || again.Get("crates") != "6" {
		t.Errorf("to correct stands %v", again)
	}
	r.submit(late, "/pick/correct", nil).ok().says("#p-p-2", "6 crates")
}

func TestWeighingIsWithdrawn(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	form := r.get("/picked?pick=w-2").ok().form("/pick/correct")
	form.Set("do", "withdraw")
	r.post("/pick/correct", form).says("span.error", "Say what was wrong")
	form.Set("reason", "weighed twice")
	r.post("/pick/correct", form).ok().says(".done", "Withdrawn.").says("#p-p-1", "Withdrawn").says("#p-p-1", "weighed twice").says("section.card", "20.0 kg")
	if last := r.coop.Picks[0]; last.GetGrossGrams() != 0 || last.GetCorrectsPickId() != "w-2" {
		t.Errorf("withdrawn by %v", last)
	}
	back := r.get("/picked?pick=p-1").ok()
	if got := back.form("/pick/correct"); got.Get("gross_grams") != "" || got.Has("do") {
		t.Errorf("begins with %v", got)
	}
	r.submit(back, "/pick/correct", map[string]string{"gross_grams": "62", "tare_grams": "2", "reason": "it was not twice"}).ok().says("section.card", "80.0 kg")
}

func TestWeighedInSorted(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/pick").ok()
	p.says("form", "now 2; blank: by the curve").says("form", "Split by stage and grade")
	wrong := r.submit(p, "/pick/weigh", map[string]string{"gross_grams": "10", "tare_grams": "1", "part_grams.0": "8", "part_grams.1": "2"})
	wrong.says("span.error", "more than the mushrooms")
	r.submit(wrong, "/pick/weigh", map[string]string{"part_grams.0": "", "part_grams.1": "7", "part_stage.1": "PICK_STAGE_VEILED", "part_grade.1": " second "}).ok().says(".done", "Weighed in")
	want := []*harvestv1.PickPart{{PickStage: typev1.PickStage_PICK_STAGE_VEILED, Grade: "second", Grams: 7_000}}
	if len(r.coop.Picks) != 1 || r.coop.Picks[0].BreakNumber != nil {
		t.Fatalf("picked %v", r.coop.Picks)
	}
	if diff := cmp.Diff(want, r.coop.Picks[0].GetParts(), protocmp.Transform()); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
}
