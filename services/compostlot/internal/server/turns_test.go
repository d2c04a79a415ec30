package server_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

func tonnes(n float64) *compostlotv1.Mass { return &compostlotv1.Mass{Amount: n, Unit: tonne} }

func (r *rig) turn(ctx context.Context, m *compostlotv1.LotTurn) (*compostlotv1.LotTurn, error) {
	return r.RecordTurn(ctx, &compostlotv1.RecordTurnRequest{RequestId: ids.New(), Turn: m})
}

func (r *rig) weigh(ctx context.Context, lot string, at time.Time, t, moisture, nitrogen float64, made bool) (*compostlotv1.Lot, error) {
	return r.RecordHeap(ctx, &compostlotv1.RecordHeapRequest{RequestId: ids.New(), SetsMade: made, Sample: &compostlotv1.HeapSample{
		LotId: lot, Time: timestamppb.New(at), Mass: tonnes(t), MoisturePercent: moisture, NitrogenPercent: nitrogen,
	}})
}

// A lot from its recipe over wetting and a turn to what it came to. Nitrogen of 1.57 % that
// becomes 2.09 % without any lost means that a quarter of the dry matter went (an identity of
// masses).
func TestLogOfALot(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	must[*compostlotv1.Recipe](t)(r.SaveRecipe(r.office(t), &compostlotv1.SaveRecipeRequest{RequestId: ids.New(), Recipe: &compostlotv1.Recipe{
		RecipeId: "pile", YardId: "quarry", Name: "Horse manure pile", Parts: horseManurePile(),
	}}))
	lot := phaseTwo("quarry-7", 200_000)
	lot.RecipeId = "pile"
	r.open(t, lot)
	start := time.Date(2026, 2, 1, 8, 0, 0, 0, time.UTC)
	must[*compostlotv1.LotTurn](t)(r.turn(r.office(t), &compostlotv1.LotTurn{LotId: "quarry-7", Time: timestamppb.New(start), Kind: compostlotv1.TurnKind_TURN_KIND_WETTING, Water: &compostlotv1.Mass{Amount: 32_000, Unit: gallon}}))
	must[*compostlotv1.Lot](t)(r.weigh(r.office(t), "quarry-7", start.Add(time.Hour), 200, 72, 1.57, false))
	turn := must[*compostlotv1.LotTurn](t)(r.turn(r.office(t), &compostlotv1.LotTurn{
		LotId: "quarry-7", Time: timestamppb.New(start.AddDate(0, 0, 3)), Kind: compostlotv1.TurnKind_TURN_KIND_TURN, Water: tonnes(5),
		Supplements: []*compostlotv1.RecipePart{dryPart("poultry manure", 2.5, 2, 4)}, Note: "dry on the north side",
	}))
	if turn.GetNumber() != 2 || turn.GetRecordedBy() != "Office" {
		t.Errorf("turn %v", turn)
	}
	// 56 t and 2 t dry with 0.8792 and 0.08 t of nitrogen; 43.5 t dry at 2.2 % hold 0.957 t.
	got := must[*compostlotv1.Lot](t)(r.weigh(r.office(t), "quarry-7", start.AddDate(0, 0, 14), 150, 71, 2.2, true))
	if got.GetMadeKg() != 150_000 || got.GetRemainingKg() != 150_000 || got.GetVersion() != 2 || got.GetRecipeVersion() != 1 {
		t.Errorf("lot %v", got)
	}
	if n := r.eventsOf(t)["lot.changed"]; n != 1 {
		t.Errorf("%d changes told, want 1", n)
	}
	report := r.reportOf(t, "quarry-7")
	near(t, "nitrogen of the recipe", report.GetRecipe().GetMix().GetNitrogenPercent(), 1.5732, 0.0005)
	if len(report.GetTurns()) != 2 || len(report.GetSamples()) != 2 || len(report.GetMassBalance()) != 1 {
		t.Fatalf("report has %d turns, %d samples, %d steps", len(report.GetTurns()), len(report.GetSamples()), len(report.GetMassBalance()))
	}
	if diff := cmp.Diff(turn, report.GetTurns()[1], protocmp.Transform()); diff != "" {
		t.Errorf("turn in the report (-want +got):\n%s", diff)
	}
	step := report.GetMassBalance()[0]
	near(t, "dry before", step.GetDryBefore().GetAmount(), 58, 1e-6)
	near(t, "dry loss", step.GetDryLoss(), 1-43.5/58, 1e-9)
	near(t, "nitrogen loss", step.GetNitrogenLoss(), 1-0.957/0.9592, 1e-6)
	near(t, "least dry loss", step.GetLeastDryLoss(), 1-(100*0.9592/58)/2.2, 1e-6)

	// Dry matter cannot grow; the sample that says so is not kept.
	_, err := r.weigh(r.office(t), "quarry-7", start.AddDate(0, 0, 15), 170, 70, 2.2, false)
	refused(t, err, fault.Precondition, "MEASUREMENT_IMPOSSIBLE", "sample.mass")
	if n := len(r.reportOf(t, "quarry-7").GetSamples()); n != 2 {
		t.Errorf("%d samples after a refusal", n)
	}
	// A later version of the recipe leaves the lot's as it was.
	must[*compostlotv1.Recipe](t)(r.SaveRecipe(r.office(t), &compostlotv1.SaveRecipeRequest{RequestId: ids.New(), Recipe: &compostlotv1.Recipe{
		RecipeId: "pile", YardId: "quarry", Name: "Horse manure pile", Parts: horseManurePile()[:2], Etag: "v1",
	}}))
	if got := r.reportOf(t, "quarry-7").GetRecipe(); len(got.GetParts()) != 4 || got.GetVersion() != 1 {
		t.Errorf("the lot's recipe became %v", got)
	}
	now := must[*compostlotv1.Lot](t)(r.SetLotRecipe(r.office(t), &compostlotv1.SetLotRecipeRequest{RequestId: ids.New(), LotId: "quarry-7", RecipeId: "pile"}))
	if now.GetRecipeVersion() != 2 {
		t.Errorf("recipe version %d", now.GetRecipeVersion())
	}
}

func TestLogRefused(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 1000))
	_, err := r.turn(r.office(t), &compostlotv1.LotTurn{LotId: "quarry-7", Time: timestamppb.New(noon.AddDate(-1, 0, 0)), Kind: compostlotv1.TurnKind_TURN_KIND_TURN})
	refused(t, err, fault.Invalid, "", "turn.time")
	_, err = r.turn(r.office(t), &compostlotv1.LotTurn{LotId: "none", Time: timestamppb.New(noon), Kind: compostlotv1.TurnKind_TURN_KIND_TURN})
	refused(t, err, fault.NotFound, "UNKNOWN_LOT", "turn.lot_id")
	_, err = r.SetLotRecipe(r.office(t), &compostlotv1.SetLotRecipeRequest{RequestId: ids.New(), LotId: "quarry-7", RecipeId: "pile"})
	refused(t, err, fault.Invalid, "", "recipe_id")
	_, err = r.weigh(r.office(t), "quarry-7", noon, 0, 70, 2, false)
	refused(t, err, fault.Invalid, "", "sample.mass.amount")
	r.prove(t, "quarry-7")
	r.release(t, "quarry-7")
	_, err = r.turn(r.office(t), &compostlotv1.LotTurn{LotId: "quarry-7", Time: timestamppb.New(noon), Kind: compostlotv1.TurnKind_TURN_KIND_TURN})
	refused(t, err, fault.Precondition, "LOT_RELEASED", "turn.lot_id")
	// What was delivered was there: a weighing cannot take it back.
	must[*compostlotv1.LotDelivery](t)(r.DeliverLot(r.office(t), delivery("quarry-7", "alder-1", 600)))
	_, err = r.weigh(r.office(t), "quarry-7", noon, 0.5, 70, 2, true)
	refused(t, err, fault.Precondition, "LOT_TOO_SMALL", "sample.mass")
	lot := must[*compostlotv1.Lot](t)(r.weigh(r.office(t), "quarry-7", noon, 0.95, 70, 2, true))
	if lot.GetMadeKg() != 950 || lot.GetRemainingKg() != 350 {
		t.Errorf("lot %v", lot)
	}
}

// The steps of a tunnel have one order; levelling comes between filling and pasteurising.
func TestMarksOfAllPhases(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 1000))
	mark := func(m compostlotv1.PhaseMark, hour int) error {
		_, err := r.MarkPhases(r.office(t), &compostlotv1.MarkPhasesRequest{RequestId: ids.New(), Marks: []*compostlotv1.MarkedPhase{{LotId: "quarry-7", Mark: m, Time: timestamppb.New(noon.Add(timeHours(hour)))}}})
		return err
	}
	for hour, m := range []compostlotv1.PhaseMark{
		compostlotv1.PhaseMark_PHASE_MARK_WETTED, compostlotv1.PhaseMark_PHASE_MARK_FILLED, compostlotv1.PhaseMark_PHASE_MARK_LEVELLING,
		compostlotv1.PhaseMark_PHASE_MARK_PASTEURISING, compostlotv1.PhaseMark_PHASE_MARK_COOLED, compostlotv1.PhaseMark_PHASE_MARK_SPAWNED,
		compostlotv1.PhaseMark_PHASE_MARK_COLONISED,
	} {
		if err := mark(m, 10*hour); err != nil {
			t.Errorf("%v: %v", m, err)
		}
	}
	refused(t, mark(compostlotv1.PhaseMark_PHASE_MARK_LEVELLING, 5), fault.Invalid, "", "marks[0].time")
	refused(t, mark(compostlotv1.PhaseMark_PHASE_MARK_COOLED, 55), fault.Invalid, "", "marks[0].time")
	if err := mark(compostlotv1.PhaseMark_PHASE_MARK_CONDITIONING, 35); err != nil {
		t.Error(err)
	}
}

// An exception under which compost was delivered stays when the lot is released on evidence
// later; one under which nothing left is cleared. Every decision stays in the report.
func TestExceptionFollowsWhatWasMade(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("gone", 1000), phaseTwo("kept", 1000))
	for _, lot := range []string{"gone", "kept"} {
		must[*compostlotv1.Lot](t)(r.ReleaseLot(r.office(t), &compostlotv1.ReleaseLotRequest{RequestId: ids.New(), LotId: lot, ReleasedBy: "Orla Keane", ExceptionReason: "logger lost"}))
	}
	must[*compostlotv1.LotDelivery](t)(r.DeliverLot(r.office(t), delivery("gone", "alder-1", 100)))
	for lot, want := range map[string]string{"gone": "logger lost", "kept": ""} {
		must[*compostlotv1.Lot](t)(r.HoldLot(r.office(t), &compostlotv1.HoldLotRequest{RequestId: ids.New(), LotId: lot, HeldBy: "Orla Keane", Reason: "smells"}))
		r.prove(t, lot)
		r.release(t, lot)
		events := r.events(t)
		told := events[len(events)-1].Payload.(*compostlotv1.LotReleased).GetLot()
		if told.GetExceptionReason() != want || (len(told.GetUnprovenCriteria()) > 0) != (want != "") {
			t.Errorf("lot %s is told with the exception %q, want %q", lot, told.GetExceptionReason(), want)
		}
		var kinds []compostlotv1.DecisionKind
		for _, d := range r.reportOf(t, lot).GetDecisions() {
			kinds = append(kinds, d.GetKind())
		}
		if diff := cmp.Diff([]compostlotv1.DecisionKind{2, 3, 1}, kinds); diff != "" {
			t.Errorf("decisions on %s (-want +got):\n%s", lot, diff)
		}
	}
}
