package server

import (
	"context"
	"slices"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/blend"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
)

// SetLotRecipe implements CompostLotService.
func (s *Server) SetLotRecipe(ctx context.Context, req *compostlotv1.SetLotRecipeRequest) (*compostlotv1.Lot, error) {
	return once(ctx, s, req, &compostlotv1.Lot{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.Lot, error) {
		lots, err := lockLots(ctx, tx, []*compostlotv1.SetLotRecipeRequest{req}, only(""))
		if err != nil {
			return nil, err
		}
		lot := lots[req.GetLotId()]
		if err := notReleased("", lot); err != nil {
			return nil, err
		}
		recipes, err := store.Recipes(ctx, tx, []string{req.GetRecipeId()})
		if err != nil {
			return nil, err
		}
		before := lot
		if err := byRecipe(&lot, req.GetRecipeId(), recipes, ""); err != nil {
			return nil, err
		}
		if lot.RecipeID == before.RecipeID && lot.RecipeVersion == before.RecipeVersion {
			return lotMessage(lot), nil
		}
		return s.changeLot(ctx, tx, lot)
	})
}

// byRecipe names the newest version of a recipe of the lot's yard.
func byRecipe(lot *store.Lot, recipeID string, recipes map[string]store.Recipe, path string) error {
	recipe, ok := recipes[recipeID]
	switch {
	case !ok:
		return fault.InvalidField(path+"recipe_id", "there is no recipe %q: save it first, or leave it empty", recipeID)
	case recipe.YardID != lot.YardID:
		return fault.InvalidField(path+"recipe_id", "recipe %q is one of yard %q, not of %q: name another", recipeID, recipe.YardID, lot.YardID)
	}
	lot.RecipeID, lot.RecipeVersion = recipe.ID, recipe.Version
	return nil
}

// changeLot stores a lot as it has become, and tells it.
func (s *Server) changeLot(ctx context.Context, tx pgx.Tx, lot store.Lot) (*compostlotv1.Lot, error) {
	lot.Change = lot.Next(actor(ctx), s.now())
	if err := store.UpdateLot(ctx, tx, lot); err != nil {
		return nil, err
	}
	out := lotMessage(lot)
	return out, tell(ctx, tx, "lot", "changed", lot.ID, &compostlotv1.LotChanged{Lot: out})
}

// RecordTurn implements CompostLotService.
func (s *Server) RecordTurn(ctx context.Context, req *compostlotv1.RecordTurnRequest) (*compostlotv1.LotTurn, error) {
	return once(ctx, s, req, &compostlotv1.LotTurn{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.LotTurn, error) {
		return s.recordTurn(ctx, tx, req.GetTurn())
	})
}

func (s *Server) recordTurn(ctx context.Context, tx pgx.Tx, m *compostlotv1.LotTurn) (*compostlotv1.LotTurn, error) {
	lots, err := lockLots(ctx, tx, []*compostlotv1.LotTurn{m}, only("turn"))
	if err != nil {
		return nil, err
	}
	lot := lots[m.GetLotId()]
	if err := notReleased("turn.", lot); err != nil {
		return nil, err
	}
	when, err := instant("turn.time", m.GetTime())
	if err != nil {
		return nil, err
	}
	if when.Before(lot.StartedDate.AddDate(0, 0, -1)) { // a day's grace for time zones
		return nil, fault.InvalidField("turn.time", "%s lies before composting of lot %q began on %s", stamp(when), lot.ID, dateText(lot.StartedDate))
	}
	known, err := store.Turns(ctx, tx, lot.ID)
	if err != nil {
		return nil, err
	}
	row := store.Turn{
		LotID: lot.ID, Number: 1, Time: when, Kind: int16(m.GetKind()), Note: m.GetNote(), EnteredBy: actor(ctx), EnteredAt: s.now(),
	}
	for _, t := range known {
		row.Number = max(row.Number, t.Number+1)
	}
	if m.GetWater() != nil {
		if row.WaterGrams, err = grams("turn.water", m.GetWater()); err != nil {
			return nil, err
		}
		row.WaterUnit = int16(m.GetWater().GetUnit())
	}
	parts, err := readParts("turn.supplements", m.GetSupplements())
	if err != nil {
		return nil, err
	}
	put := make([]store.Supplement, len(parts))
	for i, p := range recipeRows(store.Recipe{}, parts, m.GetSupplements()) {
		put[i] = supplementOf(lot.ID, row.Number, p)
	}
	if err := store.InsertTurn(ctx, tx, row, put); err != nil {
		return nil, err
	}
	return turnMessage(row, put)
}

// supplementOf is an ingredient as a turn of a lot put it in.
func supplementOf(lotID string, turn int32, p store.RecipePart) store.Supplement {
	return store.Supplement{
		LotID: lotID, Turn: turn, Number: p.Number, Name: p.Name, Moisture: p.Moisture, Nitrogen: p.Nitrogen, Carbon: p.Carbon,
		Ash: p.Ash, CN: p.CN, PriceMinorPerTonne: p.PriceMinorPerTonne, Gypsum: p.Gypsum, Grams: p.Grams, Unit: p.Unit,
	}
}

func supplementPart(p store.Supplement) blend.Part {
	return blend.Part{Grams: p.Grams, Ingredient: blend.Ingredient{
		Name: p.Name, Moisture: p.Moisture, Nitrogen: p.Nitrogen, Carbon: p.Carbon, Ash: p.Ash, CN: p.CN,
		PriceCents: p.PriceMinorPerTonne, Gypsum: p.Gypsum,
	}}
}

// turnMessage is a turn with what it put in.
func turnMessage(t store.Turn, put []store.Supplement) (*compostlotv1.LotTurn, error) {
	out := &compostlotv1.LotTurn{
		LotId: t.LotID, Number: t.Number, Time: timestamppb.New(t.Time), Kind: compostlotv1.TurnKind(t.Kind), Note: t.Note, RecordedBy: t.EnteredBy,
	}
	var err error
	if t.WaterUnit != 0 {
		if out.Water, err = mass(t.WaterGrams, compostlotv1.MassUnit(t.WaterUnit)); err != nil {
			return nil, err
		}
	}
	out.Supplements, err = partMessages(convert(put, supplementPart), func(i int) compostlotv1.MassUnit { return compostlotv1.MassUnit(put[i].Unit) })
	return out, err
}

// turnMessages are all turns of a lot in order of time.
func turnMessages(turns []store.Turn, put []store.Supplement) ([]*compostlotv1.LotTurn, error) {
	var out []*compostlotv1.LotTurn
	for _, t := range turns {
		m, err := turnMessage(t, slices.DeleteFunc(slices.Clone(put), func(p store.Supplement) bool { return p.Turn != t.Number }))
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, nil
}
