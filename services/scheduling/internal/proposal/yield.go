package proposal

import (
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

// Weekly adds what a crop is expected to bear to grams by kind and week. rows are
// as kinds; weeks count from the Monday first. What falls outside, and kinds that
// are not asked for, are left out.
func Weekly(rows [][]int64, kinds map[programme.Product]int, first calendar.Date, p *programme.Programme, areaM2 int64, dates calendar.Calendar) {
	usual := p.Breaks.Yield.Usual * areaM2
	cumulative := part(usual)
	var upTo int64
	for _, b := range dates.Breaks {
		from := cumulative(upTo)
		upTo += b.PerMille
		grams := cumulative(upTo) - from
		days := int64(max(1, b.End.Sub(b.Start)))
		for d := range days {
			dayGrams := grams*(d+1)/days - grams*d/days
			week := weekOf(first, b.Start.Add(int(d)))
			bear(rows, kinds, p, week, dayGrams)
		}
	}
}

// bear splits a day's grams over what the programme bears.
func bear(rows [][]int64, kinds map[programme.Product]int, p *programme.Programme, week int, grams int64) {
	cumulative := part(grams)
	var upTo int64
	for _, b := range p.Bears {
		from := cumulative(upTo)
		upTo += b.PerMille
		if k, ok := sold(kinds, p.Species, b.Stage); ok && week >= 0 && week < len(rows[k]) {
			rows[k][week] += cumulative(upTo) - from
		}
	}
}

// sold is the kind as which a species at a stage of picking is sold: that very kind,
// else the species at any stage.
func sold(kinds map[programme.Product]int, species string, stage programme.PickStage) (kind int, ok bool) {
	if kind, ok = kinds[programme.Product{Species: species, Stage: stage}]; ok {
		return kind, true
	}
	kind, ok = kinds[programme.Product{Species: species}]
	return kind, ok
}

// Sells reports whether the programme bears a kind: its species at the stage, or at
// any where the kind states none.
func Sells(p *programme.Programme, kind programme.Product) bool {
	return p.CanBear(kind) || (kind.Stage == programme.NoPickStage && p.Species == kind.Species)
}

// part gives the running part of a whole per mille, so that parts add up.
func part(whole int64) func(perMille int64) int64 {
	return func(perMille int64) int64 { return whole/1000*perMille + whole%1000*perMille/1000 }
}

// weekOf is the index of the week of a day; negative before the first Monday.
func weekOf(first, day calendar.Date) int { return day.Week().Sub(first) / 7 }

// work adds a crop's minutes of work to weeks. A stage's work is spread evenly over
// its days; that of a day's work falls on its day.
func work(weeks []int64, first calendar.Date, p *programme.Programme, areaM2 int64, dates calendar.Calendar) {
	for _, s := range dates.Stages {
		minutes := p.WorkMinutes(s.Stage, areaM2)
		days := int64(max(1, s.End.Sub(s.Start)))
		for d := range days {
			if w := weekOf(first, s.Start.Add(int(d))); w >= 0 && w < len(weeks) {
				weeks[w] += minutes*(d+1)/days - minutes*d/days
			}
		}
	}
}

// kindIndex numbers the kinds.
func kindIndex(kinds []Kind) map[programme.Product]int {
	out := make(map[programme.Product]int, len(kinds))
	for i, k := range kinds {
		out[k.Product] = i
	}
	return out
}

func rows(n, weeks int) [][]int64 {
	out := make([][]int64, n)
	for i := range out {
		out[i] = make([]int64, weeks)
	}
	return out
}
