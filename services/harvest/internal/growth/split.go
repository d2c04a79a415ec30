package growth

import (
	"cmp"
	"slices"

	"breakshare.example/services/harvest/internal/forecast"
)

// Product is a product that a crop is sold as, with what was picked of it.
type Product struct {
	ID      string
	Stage   string // of picking; empty where it has none
	Weight  int64  // grams picked, or expected where nothing was picked yet; 0 or more
	Learned int64  // grams picked
}

// Shares splits a crop's grams over products: over the stages of picking by the
// programme's shares, corrected by what was picked, and within a stage by what
// was picked or expected of each product; alike where nothing was. Stages that
// no product takes up are left to the others. Where one of the products is of no
// stage, stages do not decide. The shares come in order of the
// products' ids and are empty where there is no product.
func (c Crop) Shares(products []Product) []forecast.PickStage {
	products = slices.SortedFunc(slices.Values(products), func(a, b Product) int { return cmp.Compare(a.ID, b.ID) })
	stages := c.LearnedStages(products)
	if len(stages) == 0 || slices.ContainsFunc(products, func(p Product) bool { return p.Stage == "" }) {
		stages = []forecast.PickStage{{PerMille: 1000}}
	}
	share := map[string]int64{}
	for _, s := range stages {
		share[s.Name] = s.PerMille
	}
	weight, count := map[string]int64{}, map[string]int64{}
	staged := len(stages) > 1 || stages[0].Name != ""
	stageOf := func(p Product) string {
		if !staged {
			return ""
		}
		return p.Stage
	}
	for _, p := range products {
		weight[stageOf(p)] += p.Weight
		count[stageOf(p)]++
	}
	out := make([]forecast.PickStage, 0, len(products))
	for _, p := range products {
		s := stageOf(p)
		part, whole := int64(1), count[s]
		if weight[s] > 0 {
			part, whole = p.Weight, weight[s]
		}
		// A millionth is fine enough and keeps products of shares in 64 bits.
		out = append(out, forecast.PickStage{Name: p.ID, PerMille: share[s] * 1000 * part / whole})
	}
	return out
}

// LearnedStages is the programme's share of each stage of picking, corrected by
// what was picked; empty for a species without stages.
func (c Crop) LearnedStages(products []Product) []forecast.PickStage {
	if c.Profile == nil {
		return nil
	}
	var prior []forecast.PickStage
	for _, b := range c.Profile.Bears {
		if b.Stage != "" {
			prior = append(prior, forecast.PickStage{Name: b.Stage, PerMille: b.PerMille})
		}
	}
	if len(prior) == 0 {
		return nil
	}
	var picked []forecast.StageGrams
	for _, p := range products {
		if p.Stage != "" && p.Learned > 0 {
			picked = append(picked, forecast.StageGrams{Name: p.Stage, Grams: p.Learned})
		}
	}
	return forecast.LearnSplit(prior, picked)
}
