package programme

// Needs is what a room takes for one crop, in grams.
type Needs struct {
	CompostGrams, SpawnGrams int64
	// CasingGrams and SupplementGrams are nil where the programme uses none.
	CasingGrams, SupplementGrams *int64
}

// Needs multiplies the inputs by an area in m².
func (p *Programme) Needs(areaM2 int64) Needs {
	return Needs{
		CompostGrams:    p.Inputs.Compost.Grams * areaM2,
		SpawnGrams:      p.Inputs.Spawn.Grams * areaM2,
		CasingGrams:     p.Inputs.Casing.times(areaM2),
		SupplementGrams: p.Inputs.Supplement.times(areaM2),
	}
}

func (i *Input) times(areaM2 int64) *int64 {
	if i == nil {
		return nil
	}
	grams := i.Grams * areaM2
	return &grams
}

// WorkMinutes is a person's minutes for one stage over an area in m²; 0 where
// the programme has no such stage.
func (p *Programme) WorkMinutes(kind StageKind, areaM2 int64) int64 {
	s, ok := p.Stage(kind)
	if !ok {
		return 0
	}
	return s.WorkMinutes.Value * areaM2
}

// YieldGrams splits the usual yield of an area in m² over the breaks. The parts
// add up to the whole: what integer division leaves goes to the first breaks,
// one gram each.
func (p *Programme) YieldGrams(areaM2 int64) []int64 {
	total := p.Breaks.Yield.Usual * areaM2
	out := make([]int64, len(p.Breaks.Shares.PerMille))
	rest := total
	for i, share := range p.Breaks.Shares.PerMille {
		// Divide first: a yield times a share could leave int64 only for areas
		// beyond any farm, but the product is kept small all the same.
		out[i] = total/1000*share + total%1000*share/1000
		rest -= out[i]
	}
	for i := 0; rest > 0; i, rest = (i+1)%len(out), rest-1 {
		out[i]++
	}
	return out
}
