package web

import (
	"strconv"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/identity"
)

// scoredWindows are the days over which figures are scored, as the service has them.
var scoredWindows = []int64{7, 28, 84}

// scoredPage is every measure of every figure, by farm, room and product, over one window.
type scoredPage struct {
	AsOf    string
	Farm    string
	Farms   []roomChoice // to choose from; none for a grower
	Windows []windowChoice
	Scores  *table // nil where nothing was scored
	// Reliability says how often what was picked stayed at or below a figure, over the longest
	// window and all that is shown.
	Reliability *table
}

// windowChoice is one window.
type windowChoice struct {
	Days   int64
	Chosen bool
}

// showScored shows the scores of the grower's farm, or of one or all for the office.
func (p *Pages) showScored(v *visit, _ *form) (view, error) {
	days, _ := strconv.ParseInt(v.r.FormValue("days"), 10, 64)
	page := scoredPage{Farm: v.r.FormValue("farm")}
	if v.who.Role == identity.Grower {
		page.Farm = v.who.FarmID
	}
	known := false
	for _, w := range scoredWindows {
		known = known || w == days
	}
	if !known {
		days = scoredDays
	}
	for _, w := range scoredWindows {
		page.Windows = append(page.Windows, windowChoice{w, w == days})
	}
	var (
		scores *harvestv1.GetScoresResponse
		n      names
	)
	err := together(v.ctx,
		ask(&scores, p.harvest.GetScores, &harvestv1.GetScoresRequest{FarmId: page.Farm}),
		p.naming(&n, farmNames|roomNames|productNames),
	)
	if err != nil {
		return view{}, err
	}
	if v.who.Role != identity.Grower {
		for _, id := range sortedKeys(n.farms) {
			page.Farms = append(page.Farms, roomChoice{id, n.farms[id], id == page.Farm})
		}
	}
	page.AsOf = scores.GetAsOfDate()
	page.Scores = scoredTable(v, scores, n, days)
	page.Reliability = reliabilityTable(v, scores.GetAll())
	return view{template: "scored", title: "scored.title", data: page}, nil
}

// sourceScore is the score of one source with the key of its name.
type sourceScore struct {
	key   string
	score *harvestv1.SourceScore
}

func sourcesOf(s *harvestv1.Score) []sourceScore {
	return []sourceScore{
		{"scores.grower", s.GetGrower()}, {"scores.model", s.GetModel()}, {"scores.programme", s.GetProgramme()}, {"scores.used", s.GetUsed()}, {"scored.naive", s.GetNaive()},
	}
}

func scoredTable(v *visit, scores *harvestv1.GetScoresResponse, n names, days int64) *table {
	mass := v.words.MassUnit()
	t := &table{ID: "scored", Caption: v.words.T("scored.title"), Columns: []column{
		{Key: "scored.where", Name: "where"}, {Key: "scores.source", Name: "source"}, {Key: "scores.figures", Name: "figures", Figures: true},
		{Key: "scores.bias", Name: "off_by_grams", Figures: true, Unit: mass}, {Key: "scores.mae", Name: "mean_miss_grams", Figures: true, Unit: mass},
		{Key: "scored.mase", Name: "scaled_miss_thousandths", Figures: true}, {Key: "scored.pinball", Name: "pinball_grams", Figures: true, Unit: mass},
		{Key: "scored.crps", Name: "crps_grams", Figures: true, Unit: mass}, {Key: "scores.coverage", Name: "within_percent", Figures: true},
	}}
	add := func(where cell, s *harvestv1.Score) {
		for _, source := range sourcesOf(s) {
			for _, c := range source.score.GetCards() {
				if int64(c.GetDays()) != days || c.GetFigures() == 0 {
					continue
				}
				t.Rows = append(t.Rows, []cell{
					where, v.says(source.key), v.count(int64(c.GetFigures())), v.massOr(c.BiasGrams), v.massOr(c.MaeGrams), v.thousandthsOr(c.Mase), v.massOr(c.PinballGrams), v.massOr(c.CrpsGrams), v.percentOr(c.Coverage),
				})
			}
		}
	}
	add(v.says("scored.all"), scores.GetAll())
	for _, s := range scores.GetParts() {
		where := nameOf(n.farms, s.GetFarmId())
		if s.GetRoomId() != "" {
			where = nameOf(n.rooms, s.GetRoomId())
		}
		if s.GetProductId() != "" {
			where += " · " + n.product(s.GetProductId())
		}
		add(name(where), s)
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return v.table(t)
}

// reliabilityTable says how often what was picked stayed at or below each figure of a source.
func reliabilityTable(v *visit, all *harvestv1.Score) *table {
	t := &table{ID: "reliability", Caption: v.words.T("scored.reliability"), Columns: []column{
		{Key: "scores.source", Name: "source"}, {Key: "scored.meant", Name: "meant_percent", Figures: true, Unit: "%"}, {Key: "scored.observed", Name: "observed_percent", Figures: true, Unit: "%"}, {Key: "scores.figures", Name: "figures", Figures: true},
	}}
	for _, source := range sourcesOf(all) {
		for _, r := range source.score.GetReliability() {
			if r.GetFigures() > 0 {
				t.Rows = append(t.Rows, []cell{v.says(source.key), v.count(whole(r.GetProbability() * 100)), v.count(whole(r.GetObserved() * 100)), v.count(int64(r.GetFigures()))})
			}
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return v.table(t)
}

// massOr is a mass in grams, or that none is known.
func (v *visit) massOr(grams *float64) cell {
	if grams == nil {
		return none()
	}
	return v.weight(whole(*grams))
}

func (v *visit) percentOr(part *float64) cell {
	if part == nil {
		return none()
	}
	return v.count(whole(*part * 100))
}

// thousandthsOr is a ratio, shown to a hundredth.
func (v *visit) thousandthsOr(ratio *float64) cell {
	if ratio == nil {
		return none()
	}
	hundredths := whole(*ratio * 100)
	return figure(hundredths*10, v.words.Exact(hundredths*10))
}
