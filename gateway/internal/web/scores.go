package web

import (
	"context"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// scoredDays is the window that the page shows.
const scoredDays = 28

// scoresPage is how good the figures of farms and of the forecast were, and how even the season
// has been to the farms.
type scoresPage struct {
	AsOf string
	Days int
	Rows []scoreRow

	SeasonFrom string
	Season     []seasonRow
}

// seasonRow is what a farm offered and sold in the season so far, in packs.
type seasonRow struct {
	Farm                   string
	Offered, Matched       int64
	Ahead                  int64 // of its fair part; negative where behind
	OfferedBar, MatchedBar int64
}

// Behind is how many packs a farm is short of its fair part.
func (r seasonRow) Behind() int64 { return -r.Ahead }

// scoreRow is one source's figures for a farm, or for all of them. Off and Miss are in grams.
type scoreRow struct {
	Farm, Source   string // Farm is empty for all; Source is the key of a text
	Figures        int64
	Off, Miss      int64
	Within         int64 // percent
	Banded         bool  // Within is known
	FirstOfItsFarm bool
	RowsOfFarm     int
}

// showScores shows the scores of the last four weeks, farm by farm.
func (p *Pages) showScores(v *visit, _ *form) (view, error) {
	var (
		scores *harvestv1.GetScoresResponse
		season *orderv1.GetSeasonResponse
		n      names
	)
	err := together(v.ctx,
		func(ctx context.Context) (err error) {
			scores, err = p.harvest.GetScores(ctx, &harvestv1.GetScoresRequest{})
			return err
		},
		func(ctx context.Context) (err error) {
			season, err = p.order.GetSeason(ctx, &orderv1.GetSeasonRequest{DeliveryDate: v.today(1)})
			return err
		},
		func(ctx context.Context) (err error) {
			n, err = p.names(ctx, farmNames)
			return err
		},
	)
	if err != nil {
		return view{}, err
	}
	page := scoresPage{AsOf: scores.GetAsOfDate(), Days: scoredDays}
	page.SeasonFrom, page.Season = season.GetFromDate(), seasonRows(season.GetFarms(), n)
	page.add("", scores.GetAll())
	for _, s := range scores.GetParts() {
		if s.GetRoomId() == "" && s.GetProductId() == "" {
			page.add(nameOf(n.farms, s.GetFarmId()), s)
		}
	}
	return view{template: "scores", title: "scores.title", data: page}, nil
}

// add adds the sources of a score of which any figure counted.
func (page *scoresPage) add(farm string, s *harvestv1.Score) {
	first := len(page.Rows)
	for _, source := range []struct {
		key   string
		score *harvestv1.SourceScore
	}{{"scores.grower", s.GetGrower()}, {"scores.model", s.GetModel()}, {"scores.used", s.GetUsed()}} {
		for _, card := range source.score.GetCards() {
			if card.GetDays() != scoredDays || card.GetFigures() == 0 {
				continue
			}
			page.Rows = append(page.Rows, scoreRow{
				Farm: farm, Source: source.key, Figures: int64(card.GetFigures()), Off: whole(card.GetBiasGrams()), Miss: whole(card.GetMaeGrams()),
				Within: whole(card.GetCoverage() * 100), Banded: card.Coverage != nil,
			})
		}
	}
	if len(page.Rows) > first {
		page.Rows[first].FirstOfItsFarm, page.Rows[first].RowsOfFarm = true, len(page.Rows)-first
	}
}

// seasonRows are the farms with bars in per mille of what the largest offered.
func seasonRows(farms []*orderv1.FarmSeason, n names) []seasonRow {
	var largest int64 = 1
	for _, f := range farms {
		largest = max(largest, f.GetOffered(), f.GetMatched())
	}
	var rows []seasonRow
	for _, f := range farms {
		rows = append(rows, seasonRow{nameOf(n.farms, f.GetFarmId()), f.GetOffered(), f.GetMatched(), f.GetAhead(), f.GetOffered() * 1000 / largest, f.GetMatched() * 1000 / largest})
	}
	return rows
}

// whole rounds a score half away from zero.
func whole(x float64) int64 {
	if x < 0 {
		return -int64(0.5 - x)
	}
	return int64(x + 0.5)
}
