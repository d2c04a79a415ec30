package web

import (
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// scoredDays is the window that the page shows.
const scoredDays = 28

// scoresPage is how good the figures of farms and of the forecast were, and how even the season
// has been to the farms.
type scoresPage struct {
	AsOf   string
	Days   int
	Scores *table // nil where nothing was scored

	SeasonFrom string
	Season     []seasonRow
	SeasonRows *table
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

// showScores shows the scores of the last four weeks, farm by farm.
func (p *Pages) showScores(v *visit, _ *form) (view, error) {
	var (
		scores *harvestv1.GetScoresResponse
		season *orderv1.GetSeasonResponse
		n      names
	)
	err := together(v.ctx,
		ask(&scores, p.harvest.GetScores, &harvestv1.GetScoresRequest{}),
		ask(&season, p.order.GetSeason, &orderv1.GetSeasonRequest{DeliveryDate: v.today(1)}),
		p.naming(&n, farmNames),
	)
	if err != nil {
		return view{}, err
	}
	page := scoresPage{AsOf: scores.GetAsOfDate(), Days: scoredDays}
	page.SeasonFrom, page.Season = season.GetFromDate(), seasonRows(season.GetFarms(), n)
	page.SeasonRows = seasonTable(v, page.Season)
	page.Scores = scoresTable(v, scores, n)
	return view{template: "scores", title: "scores.title", data: page}, nil
}

// scoresTable lists the sources of each farm, and of all, of which any figure counted; nil for
// none.
func scoresTable(v *visit, scores *harvestv1.GetScoresResponse, n names) *table {
	mass := v.words.MassUnit()
	t := &table{ID: "scores", Caption: v.words.T("scores.title"), Columns: []column{
		{Key: "word.farm", Name: "farm"}, {Key: "scores.source", Name: "source"}, {Key: "scores.figures", Name: "figures", Figures: true},
		{Key: "scores.bias", Name: "off_by_grams", Figures: true, Unit: mass}, {Key: "scores.mae", Name: "mean_miss_grams", Figures: true, Unit: mass}, {Key: "scores.coverage", Name: "within_percent", Figures: true},
	}}
	add := func(farm cell, s *harvestv1.Score) {
		for _, source := range []struct {
			key   string
			score *harvestv1.SourceScore
		}{{"scores.grower", s.GetGrower()}, {"scores.model", s.GetModel()}, {"scores.programme", s.GetProgramme()}, {"scores.used", s.GetUsed()}} {
			for _, card := range source.score.GetCards() {
				if card.GetDays() != scoredDays || card.GetFigures() == 0 {
					continue
				}
				within := none()
				if card.Coverage != nil {
					within = v.count(whole(card.GetCoverage() * 100))
				}
				t.Rows = append(t.Rows, []cell{farm, v.says(source.key), v.count(int64(card.GetFigures())), v.weight(whole(card.GetBiasGrams())), v.weight(whole(card.GetMaeGrams())), within})
			}
		}
	}
	add(v.says("scores.all"), scores.GetAll())
	for _, s := range scores.GetParts() {
		if s.GetRoomId() == "" && s.GetProductId() == "" {
			add(name(nameOf(n.farms, s.GetFarmId())), s)
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return v.table(t)
}

// seasonTable is the season for the file.
func seasonTable(v *visit, rows []seasonRow) *table {
	t := &table{ID: "season", Caption: v.words.T("season.title"), Columns: []column{
		{Key: "word.farm", Name: "farm"}, {Key: "season.offered", Name: "offered_packs", Figures: true}, {Key: "season.matched", Name: "sold_packs", Figures: true}, {Key: "season.ahead_of", Name: "ahead_packs", Figures: true},
	}}
	for _, r := range rows {
		t.Rows = append(t.Rows, []cell{name(r.Farm), v.count(r.Offered), v.count(r.Matched), v.count(r.Ahead)})
	}
	return v.table(t)
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
