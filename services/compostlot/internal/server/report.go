package server

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/exposure"
	"breakshare.example/services/compostlot/internal/store"
)

// GetLotReport implements CompostLotService.
func (s *Server) GetLotReport(ctx context.Context, req *compostlotv1.GetLotReportRequest) (*compostlotv1.LotReport, error) {
	var out *compostlotv1.LotReport
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		lot, ok, err := store.FindLot(ctx, tx, req.GetLotId())
		if err != nil {
			return err
		}
		if !ok {
			return unknownLot("", req.GetLotId())
		}
		out, err = s.report(ctx, tx, lot)
		return err
	})
	return out, err
}

func (s *Server) report(ctx context.Context, tx pgx.Tx, lot store.Lot) (*compostlotv1.LotReport, error) {
	at := s.now()
	if lot.State == store.LotReleased {
		at = *lot.ReleasedAt
	}
	judged, err := judge(ctx, tx, lot, at)
	if err != nil {
		return nil, err
	}
	out := &compostlotv1.LotReport{
		Lot: lotMessage(lot), Criteria: convert(judged.Findings, criterionMessage), Proven: judged.Proven,
		Caution: judged.Caution, JudgedAt: timestamppb.New(at),
	}
	yards, err := store.Yards(ctx, tx, []string{lot.YardID})
	if err != nil {
		return nil, err
	}
	out.Yard = yardMessage(yards[lot.YardID])
	if out.Marks, err = markMessages(ctx, tx, lot.ID); err != nil {
		return nil, err
	}
	if out.Gas, err = gasFindings(ctx, tx, lot.ID, at); err != nil {
		return nil, err
	}
	out.Deference = exposure.Deference
	if out.Probes, err = probes(ctx, tx, lot.ID); err != nil {
		return nil, err
	}
	for _, p := range out.GetProbes() {
		out.Readings += p.GetReadings()
	}
	deliveries, err := store.ListDeliveries(ctx, tx, []string{lot.ID})
	if err != nil {
		return nil, err
	}
	out.Deliveries = convert(deliveries, deliveryMessage)
	if err := addRecipe(ctx, tx, lot, out); err != nil {
		return nil, err
	}
	return out, addLog(ctx, tx, lot, out)
}

// addRecipe adds the recipe in the version by which the lot is made.
func addRecipe(ctx context.Context, tx pgx.Tx, lot store.Lot, out *compostlotv1.LotReport) error {
	if lot.RecipeID == "" {
		return nil
	}
	recipes, err := store.Recipes(ctx, tx, []string{lot.RecipeID})
	if err != nil {
		return err
	}
	recipe := recipes[lot.RecipeID]
	if recipe.Version != lot.RecipeVersion { // who saved an earlier version is not kept
		recipe.Change = store.Change{Version: lot.RecipeVersion}
	}
	parts, err := store.RecipeParts(ctx, tx, []store.Recipe{recipe})
	if err != nil {
		return err
	}
	out.Recipe, err = recipeMessage(recipe, parts)
	return err
}

var decisionKinds = map[string]compostlotv1.DecisionKind{
	store.DecidedRelease:   compostlotv1.DecisionKind_DECISION_KIND_RELEASE,
	store.DecidedException: compostlotv1.DecisionKind_DECISION_KIND_EXCEPTION,
	store.DecidedHold:      compostlotv1.DecisionKind_DECISION_KIND_HOLD,
}

// addLog adds what was done to the lot, what it weighed, and what was decided of it.
func addLog(ctx context.Context, tx pgx.Tx, lot store.Lot, out *compostlotv1.LotReport) error {
	log, err := readLog(ctx, tx, lot.ID)
	if err != nil {
		return err
	}
	if out.Turns, err = turnMessages(log.turns, log.supplements); err != nil {
		return err
	}
	for _, row := range log.samples {
		m, err := sampleMessage(row)
		if err != nil {
			return err
		}
		out.Samples = append(out.Samples, m)
	}
	if out.MassBalance, err = log.balance(); err != nil {
		return fmt.Errorf("mass balance of lot %s: %w", lot.ID, err)
	}
	decisions, err := store.Decisions(ctx, tx, lot.ID)
	out.Decisions = convert(decisions, func(d store.Decision) *compostlotv1.LotDecision {
		return &compostlotv1.LotDecision{
			Kind: decisionKinds[d.Kind], DecidedBy: d.By, DecidedAt: timestamppb.New(d.At), Reason: d.Reason,
			UnprovenCriteria: d.Unproven, EnteredBy: d.Entered.By,
		}
	})
	return err
}
