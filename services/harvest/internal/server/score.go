package server

import (
	"cmp"
	"context"
	"maps"
	"math"
	"slices"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/fusion"
	"breakshare.example/services/harvest/internal/outlook"
	"breakshare.example/services/harvest/internal/score"
	"breakshare.example/services/harvest/internal/store"
)

// breakDays is the season of the naive figure: what was picked one break
// earlier. Breaks follow one another by 7 to 10 days (Penn State, Basic
// Procedures for Agaricus Mushroom Growing, 2003), mostly 8.
const breakDays = 8

// GetScores answers how good the figures were.
func (s *Server) GetScores(ctx context.Context, req *harvestv1.GetScoresRequest) (*harvestv1.GetScoresResponse, error) {
	farm, err := listedFarm(ctx, req.GetFarmId())
	if err != nil {
		return nil, err
	}
	var asOf day.Date
	var past []outlook.Past
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		cal, err := s.calendar(ctx, tx)
		if err != nil {
			return err
		}
		if asOf, err = dayOr(req.GetAsOfDate(), "as_of_date", cal.today().Add(-1)); err != nil {
			return err
		}
		longest := score.Windows[len(score.Windows)-1]
		past, err = store.PastOfDays(ctx, tx, asOf.Add(1-longest-breakDays), asOf, farm)
		return err
	})
	if err != nil {
		return nil, err
	}
	past = slices.DeleteFunc(past, func(p outlook.Past) bool {
		return req.GetRoomId() != "" && p.RoomID != req.GetRoomId() || req.GetProductId() != "" && p.ProductID != req.GetProductId()
	})
	return scores(past, asOf), nil
}

// scoreKey is a farm, a room of it, or a product of the room.
type scoreKey struct{ farm, room, product string }

// scores scores everything together and each farm, room and product of it.
func scores(past []outlook.Past, asOf day.Date) *harvestv1.GetScoresResponse {
	groups := map[scoreKey][]outlook.Past{}
	for _, p := range past {
		for _, k := range []scoreKey{{p.FarmID, "", ""}, {p.FarmID, p.RoomID, ""}, {p.FarmID, p.RoomID, p.ProductID}} {
			groups[k] = append(groups[k], p)
		}
	}
	// What came of a product in its room, by day: the naive figures.
	came := map[scoreKey]map[day.Date]int64{}
	for _, p := range past {
		k := scoreKey{"", p.RoomID, p.ProductID}
		if came[k] == nil {
			came[k] = map[day.Date]int64{}
		}
		came[k][p.Day] = p.Actual
	}
	resp := &harvestv1.GetScoresResponse{AsOfDate: asOf.String(), All: scoreOf(past, came, asOf)}
	for _, k := range slices.SortedFunc(maps.Keys(groups), func(a, b scoreKey) int {
		return cmp.Or(cmp.Compare(a.farm, b.farm), cmp.Compare(a.room, b.room), cmp.Compare(a.product, b.product))
	}) {
		m := scoreOf(groups[k], came, asOf)
		m.FarmId, m.RoomId, m.ProductId = k.farm, k.room, k.product
		resp.Parts = append(resp.Parts, m)
	}
	return resp
}

func scoreOf(past []outlook.Past, came map[scoreKey]map[day.Date]int64, asOf day.Date) *harvestv1.Score {
	naive := func(p outlook.Past) *fusion.Band {
		before, ok := came[scoreKey{"", p.RoomID, p.ProductID}][p.Day.Add(-breakDays)]
		if !ok {
			return nil
		}
		return &fusion.Band{Low: before, Likely: before, High: before}
	}
	source := func(of func(outlook.Past) *fusion.Band) *harvestv1.SourceScore {
		out := &harvestv1.SourceScore{}
		for _, days := range score.Windows {
			// The scaled error compares on the days that have both figures.
			base := score.Of(records(past, of, naive), int(asOf), days, 0)
			both := score.Of(records(past, naive, of), int(asOf), days, base.MAE)
			own := score.Of(records(past, of, of), int(asOf), days, 0)
			own.MASE = both.MASE
			out.Cards = append(out.Cards, card(own))
		}
		longest := score.Windows[len(score.Windows)-1]
		inside := slices.DeleteFunc(records(past, of, of), func(r score.Record) bool { return r.Day <= int(asOf)-longest })
		for _, l := range score.Reliability(inside) {
			out.Reliability = append(out.Reliability, &harvestv1.ReliabilityRow{Probability: l.Probability, Figures: int32(l.N), Observed: l.Observed})
		}
		return out
	}
	m := &harvestv1.Score{
		Grower:    source(func(p outlook.Past) *fusion.Band { return p.Said }),
		Model:     source(func(p outlook.Past) *fusion.Band { return p.Model }),
		Used:      source(func(p outlook.Past) *fusion.Band { return p.Used }),
		Naive:     source(naive),
		Programme: source(func(p outlook.Past) *fusion.Band { return p.Programme }),
	}
	for _, c := range m.GetNaive().GetCards() { // a point has no band
		c.Coverage, c.PinballGrams, c.CrpsGrams = nil, nil, nil
	}
	m.Naive.Reliability = nil
	return m
}

// records are the figures of one source for the days on which a first one,
// too, has one.
func records(past []outlook.Past, where, of func(outlook.Past) *fusion.Band) []score.Record {
	var out []score.Record
	for _, p := range past {
		if b := of(p); b != nil && where(p) != nil {
			out = append(out, score.Record{Day: int(p.Day), Low: b.Low, Likely: b.Likely, High: b.High, Actual: p.Actual})
		}
	}
	return out
}

func card(c score.Card) *harvestv1.ScoreCard {
	m := &harvestv1.ScoreCard{Days: int32(c.Days), Figures: int32(c.N)}
	if c.N == 0 {
		return m
	}
	m.BiasGrams, m.MaeGrams, m.Mase = number(c.Bias), number(c.MAE), number(c.MASE)
	m.PinballGrams, m.CrpsGrams, m.Coverage = number(c.Pinball), number(c.CRPS), number(c.Coverage)
	return m
}

// number is absent where there is none.
func number(x float64) *float64 {
	if math.IsNaN(x) {
		return nil
	}
	return &x
}
