package forecast

import "slices"

// StageGrams is the part of a pick or forecast at one stage of opening.
type StageGrams struct {
	Name  string
	Grams int64
}

// Split shares grams out over the stages of picking. The parts add up to grams
// (largest remainder; equal remainders go to the stage named first).
func Split(grams int64, stages []PickStage) []StageGrams {
	out := make([]StageGrams, len(stages))
	var total, given int64
	for _, s := range stages {
		total += s.PerMille
	}
	if total <= 0 || grams <= 0 {
		for i, s := range stages {
			out[i].Name = s.Name
		}
		return out
	}
	order := make([]int, len(stages))
	rest := make([]int64, len(stages))
	for i, s := range stages {
		// grams/total and grams%total keep the product within 64 bits.
		whole := grams/total*s.PerMille + grams%total*s.PerMille/total
		out[i] = StageGrams{s.Name, whole}
		rest[i] = grams % total * s.PerMille % total
		given += whole
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return int(rest[b] - rest[a]) })
	for _, i := range order[:grams-given] {
		out[i].Grams++
	}
	return out
}

// priorGrams is how much recorded picking weighs as much as the programme's
// shares: half a tonne, a few days of a small room.
const priorGrams = 500_000

// LearnSplit corrects the programme's shares by what was really picked at each
// stage: the mean of a Dirichlet posterior whose prior weighs priorGrams. The
// answer adds up to 1000. Stages that the profile does not know are left out.
func LearnSplit(stages []PickStage, picked []StageGrams) []PickStage {
	weights := make([]PickStage, len(stages))
	var total int64
	for i, s := range stages {
		weights[i] = PickStage{s.Name, s.PerMille * (priorGrams / 1000)}
		for _, p := range picked {
			if p.Name == s.Name {
				weights[i].PerMille += max(0, p.Grams)
			}
		}
		total += weights[i].PerMille
	}
	if total == 0 {
		return slices.Clone(stages)
	}
	for i, part := range Split(1000, weights) {
		weights[i].PerMille = part.Grams
	}
	return weights
}
