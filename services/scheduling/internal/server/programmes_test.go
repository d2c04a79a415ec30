package server_test

import (
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

func (r *rig) programmes(t testing.TB) map[string]*schedulingv1.Programme {
	t.Helper()
	out := map[string]*schedulingv1.Programme{}
	last := ""
	for _, p := range must[*schedulingv1.ListProgrammesResponse](t)(r.ListProgrammes(r.office(t), &schedulingv1.ListProgrammesRequest{})).GetProgrammes() {
		if p.GetProgrammeId() <= last {
			t.Errorf("%s stands after %s", p.GetProgrammeId(), last)
		}
		last = p.GetProgrammeId()
		out[last] = p
	}
	return out
}

func (r *rig) saveProgramme(t testing.TB, p *schedulingv1.Programme) (*schedulingv1.Programme, error) {
	return r.SaveProgramme(r.office(t), &schedulingv1.SaveProgrammeRequest{RequestId: ids.New(), Programme: p})
}

// Each built-in programme, read over the API and saved under another id, comes
// back equal: nothing is lost on the way, sources included.
func TestProgrammesTravelWhole(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	all := r.programmes(t)
	if len(all) < 9 {
		t.Fatalf("%d built-in programmes", len(all))
	}
	for id, p := range all {
		if !p.GetBuiltIn() || p.GetVersion() != 1 || p.GetLatin() == "" || len(p.GetSources()) == 0 {
			t.Errorf("%s is %v", id, p)
		}
		mine := proto.CloneOf(p)
		mine.ProgrammeId, mine.Etag, mine.BuiltIn = "my-"+id, "", false
		saved := must[*schedulingv1.Programme](t)(r.saveProgramme(t, mine))
		mine.Etag = saved.GetEtag()
		diff(t, id, mine, saved, protocmp.Transform())
	}
	diff(t, "read again", 2*len(all), len(r.programmes(t)))
}

func TestOwnProgrammeTakesThePlaceOfTheBuiltIn(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	before := r.plan(t, fill("elm-end-1", "white-shelves", "2026-04-06"))
	own := r.programmes(t)["white-shelves"]
	same := must[*schedulingv1.Programme](t)(r.saveProgramme(t, own))
	diff(t, "an equal save makes nothing", own, same, protocmp.Transform())

	own.Sources["mine"] = &schedulingv1.Source{Text: "our records of 2025", Status: schedulingv1.SourceStatus_SOURCE_STATUS_OWN}
	own.Breaks.YieldGramsPerM2.Usual, own.Breaks.YieldGramsPerM2.Source = 26_000, "mine"
	blind := proto.CloneOf(own)
	blind.Etag = ""
	_, err := r.saveProgramme(t, blind)
	refused(t, err, fault.Stale, "ETAG_NEEDED", "programme.etag")
	saved := must[*schedulingv1.Programme](t)(r.saveProgramme(t, own))
	if saved.GetVersion() != 2 || saved.GetBuiltIn() {
		t.Errorf("the own programme is version %d, built in %v", saved.GetVersion(), saved.GetBuiltIn())
	}
	diff(t, "listed", saved, r.programmes(t)["white-shelves"], protocmp.Transform())
	_, err = r.saveProgramme(t, own)
	refused(t, err, fault.Stale, "STALE_ETAG", "programme.etag")

	// The crop planned before keeps the built-in version; the next takes the own.
	running := r.record(t, before.GetCropId(), schedulingv1.StageKind_STAGE_KIND_FILLING, "2026-04-06")
	if running.GetProgrammeVersion() != 1 || running.GetBreaks().GetYieldGramsPerM2().GetUsual() == 26_000 {
		t.Errorf("the running crop changed to version %d, yield %v", running.GetProgrammeVersion(), running.GetBreaks().GetYieldGramsPerM2())
	}
	after := r.plan(t, fill("elm-end-1", "white-shelves", "2026-09-07"))
	if after.GetProgrammeVersion() != 2 || after.GetBreaks().GetYieldGramsPerM2().GetUsual() != 26_000 {
		t.Errorf("the new crop is version %d, yield %v", after.GetProgrammeVersion(), after.GetBreaks().GetYieldGramsPerM2())
	}
	diff(t, "its sources", own.GetSources()["mine"], after.GetSources()["mine"], protocmp.Transform())

	r.coop = testkit.Coop()
	if other := r.programmes(t)["white-shelves"]; !other.GetBuiltIn() || other.GetVersion() != 1 {
		t.Errorf("another co-op grows by %v", other)
	}
}

// A programme that cannot be is refused with the path of each problem.
func TestImpossibleProgrammes(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	base := r.programmes(t)["white-bulk-2"]
	for _, c := range []struct {
		name  string
		spoil func(*schedulingv1.Programme)
		field string
	}{
		{"stage twice", func(p *schedulingv1.Programme) { p.Stages[10].Kind = schedulingv1.StageKind_STAGE_KIND_COOK_OUT }, "programme.stages[10].kind"},
		{"no cropping", func(p *schedulingv1.Programme) { p.Stages = p.GetStages()[:8] }, "programme.stages"},
		{"place", func(p *schedulingv1.Programme) { p.Stages[8].Place = schedulingv1.Place_PLACE_TUNNEL }, "programme.stages[8].place"},
		{"falling days", func(p *schedulingv1.Programme) { p.Stages[4].Days.Least = 99 }, "programme.stages[4].days"},
		{"source not there", func(p *schedulingv1.Programme) { p.Inputs.Spawn.Source = "hearsay" }, "programme.inputs.spawn.source"},
		{"shares", func(p *schedulingv1.Programme) { p.Breaks.Shares.PerMille[0]++ }, "programme.breaks.shares.per_mille"},
		{"first pick", func(p *schedulingv1.Programme) { p.Breaks.FirstPickDays.Usual++ }, "programme.breaks.first_pick_days"},
		{"cased without casing", func(p *schedulingv1.Programme) { p.Inputs.Casing = nil }, "programme.inputs.casing"},
		{"bears twice", func(p *schedulingv1.Programme) { p.Bears[1].PickStage = typev1.PickStage_PICK_STAGE_CLOSED }, "programme.bears[1].pick_stage"},
		{"band without limit", func(p *schedulingv1.Programme) {
			p.Stages[7].Climate = &schedulingv1.Climate{Co2Ppm: &schedulingv1.Band{Source: "labour"}}
		}, "programme.stages[7].climate.co2_ppm"},
	} {
		p := proto.CloneOf(base)
		c.spoil(p)
		_, err := r.saveProgramme(t, p)
		if f := fault.FromStatus(err); f == nil || f.Reason != "INVALID_PROGRAMME" {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		refused(t, err, fault.Invalid, "INVALID_PROGRAMME", c.field)
	}
	for name, spoil := range map[string]func(*schedulingv1.Programme){
		"no system": func(p *schedulingv1.Programme) { p.GrowingSystem = 0 },
		"no breaks": func(p *schedulingv1.Programme) { p.Breaks = nil },
		"no inputs": func(p *schedulingv1.Programme) { p.Inputs = nil },
		"no days":   func(p *schedulingv1.Programme) { p.Stages[3].Days = nil },
		"status":    func(p *schedulingv1.Programme) { p.Sources["labour"].Status = 0 },
	} {
		p := proto.CloneOf(base)
		spoil(p)
		if _, err := r.saveProgramme(t, p); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	if p := r.programmes(t)["white-bulk-2"]; !p.GetBuiltIn() {
		t.Error("a refused programme was kept")
	}
}
