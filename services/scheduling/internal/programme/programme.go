package programme

import (
	"maps"
	"slices"
)

// Programme is one way of growing one species, at one version.
type Programme struct {
	// ID names the programme within the co-op: lower-case words joined by "-".
	ID string `json:"programme_id"`
	// Version counts from 1. A running crop keeps the version it began with.
	Version int32 `json:"version"`
	// Name is what people read, e.g. "White mushroom on shelves".
	Name string `json:"name"`
	// Species as the trade writes it, e.g. "white mushroom", "shiitake".
	Species string `json:"species"`
	// Latin is the botanical name, e.g. "Agaricus bisporus".
	Latin string `json:"latin"`
	// Strain as the spawn maker's label writes it, or the kind of strain.
	Strain string `json:"strain"`
	// System is how the crop stands.
	System System `json:"growing_system"`
	// Stages in the order in which they happen.
	Stages []Stage `json:"stages"`
	Inputs Inputs  `json:"inputs"`
	Breaks Breaks  `json:"breaks"`
	// Bears lists what can be picked from the crop.
	Bears []Bearing `json:"bears"`
	// Sources holds every source that a value names by key.
	Sources map[string]Source `json:"sources"`
}

// Stage is one step of the crop.
type Stage struct {
	Kind  StageKind `json:"kind"`
	Place Place     `json:"place"`
	// Days from this stage's start to the next one's.
	Days Range `json:"days"`
	// Climate limits; nil where the programme states none.
	Climate *Climate `json:"climate,omitempty"`
	// WorkMinutes is a person's minutes per square metre over the whole stage.
	WorkMinutes Value `json:"work_minutes_per_m2"`
	// Caution is the usual warning for work in this stage. Local codes, product
	// labels and licensed practice decide. Empty where none is usual.
	Caution string `json:"caution,omitempty"`
}

// Climate holds a stage's limits. A nil band means the programme states none.
type Climate struct {
	Air      *Band `json:"air_tenths_c,omitempty"`     // tenths of °C
	Compost  *Band `json:"compost_tenths_c,omitempty"` // tenths of °C, in the compost or substrate
	Humidity *Band `json:"humidity_percent,omitempty"` // relative humidity, %
	CO2      *Band `json:"co2_ppm,omitempty"`          // parts per million by volume of room air
}

// Inputs are what a square metre of bed (or of the ground that bags and blocks
// stand on) takes. A nil input is not used.
type Inputs struct {
	Compost    Input  `json:"compost"` // compost, or substrate for bags and blocks
	Spawn      Input  `json:"spawn"`
	Casing     *Input `json:"casing,omitempty"`
	Supplement *Input `json:"supplement,omitempty"`
}

// Input is one input's rate.
type Input struct {
	// Grams per m², as the thing is delivered (wet where it is wet).
	Grams int64 `json:"grams_per_m2"`
	// Definition spells out what the rate divides by what: "2 %" of wet compost
	// and of the mixed total are different amounts.
	Definition string `json:"definition"`
	// Source is a key of Programme.Sources.
	Source string `json:"source"`
}

// Breaks is how the harvest comes.
type Breaks struct {
	// After is the stage from whose start FirstPick counts: casing, or pinning
	// where nothing is cased.
	After StageKind `json:"after"`
	// FirstPick is days from After to the first pick. It agrees with the days of
	// the stages in between.
	FirstPick Range `json:"first_pick_days"`
	// Interval is days from the start of one break to the start of the next.
	Interval Range `json:"interval_days"`
	// Width is how many days one break is picked.
	Width Range `json:"width_days"`
	// Shares of the total yield, break by break, in per mille; they sum to 1000.
	Shares Shares `json:"shares"`
	// Yield is the total of all breaks in grams per m².
	Yield Range `json:"yield_grams_per_m2"`
}

// Shares splits a whole into parts per mille.
type Shares struct {
	PerMille []int64 `json:"per_mille"`
	// Source is a key of Programme.Sources.
	Source string `json:"source"`
}

// Bearing is a product the crop can bear: its species picked at a stage.
type Bearing struct {
	// Stage of picking; NoPickStage for a species that has none.
	Stage PickStage `json:"pick_stage,omitempty"`
	// PerMille of the yield that usually comes at this stage; all sum to 1000.
	PerMille int64 `json:"per_mille"`
	// Source is a key of Programme.Sources.
	Source string `json:"source"`
}

// Product is a species at a stage of picking.
type Product struct {
	Species string
	Stage   PickStage
}

// Products lists what the programme can bear, in its own order.
func (p *Programme) Products() []Product {
	out := make([]Product, len(p.Bears))
	for i, b := range p.Bears {
		out[i] = Product{Species: p.Species, Stage: b.Stage}
	}
	return out
}

// CanBear reports whether the product can come from this programme.
func (p *Programme) CanBear(product Product) bool {
	return slices.Contains(p.Products(), product)
}

// Stage returns the stage of the given kind.
func (p *Programme) Stage(kind StageKind) (Stage, bool) {
	i := p.index(kind)
	if i < 0 {
		return Stage{}, false
	}
	return p.Stages[i], true
}

// Between sums the days from the start of one stage to the start of a later
// one. ok is false where either is missing or they stand the other way round.
func (p *Programme) Between(from, to StageKind) (days Range, ok bool) {
	i, j := p.index(from), p.index(to)
	if i < 0 || j < i {
		return Range{}, false
	}
	return p.span(i, j), true
}

// Cycle sums the days from filling to the end of the last stage: how long the
// crop keeps its growing room or, with trays, its rooms.
func (p *Programme) Cycle() Range {
	return p.span(max(p.index(Filling), 0), len(p.Stages))
}

func (p *Programme) span(i, j int) Range {
	var sum Range
	for _, s := range p.Stages[i:j] {
		sum = sum.plus(s.Days)
	}
	return sum
}

func (p *Programme) index(kind StageKind) int {
	return slices.IndexFunc(p.Stages, func(s Stage) bool { return s.Kind == kind })
}

// Copy returns a programme of the co-op's own at version 1, equal in all else
// and sharing no memory with the original.
func (p *Programme) Copy(id, name string) *Programme {
	c := p.clone()
	c.ID, c.Name, c.Version = id, name, 1
	return c
}

// Next returns the next version of the same programme, to be changed freely:
// it shares no memory with the original.
func (p *Programme) Next() *Programme {
	c := p.clone()
	c.Version++
	return c
}

func (p *Programme) clone() *Programme {
	c := *p
	c.Stages = slices.Clone(p.Stages)
	for i := range c.Stages {
		c.Stages[i].Climate = p.Stages[i].Climate.clone()
	}
	c.Inputs.Casing = clonePtr(p.Inputs.Casing)
	c.Inputs.Supplement = clonePtr(p.Inputs.Supplement)
	c.Breaks.Shares.PerMille = slices.Clone(p.Breaks.Shares.PerMille)
	c.Bears = slices.Clone(p.Bears)
	c.Sources = maps.Clone(p.Sources)
	return &c
}

func (c *Climate) clone() *Climate {
	if c == nil {
		return nil
	}
	return &Climate{Air: c.Air.clone(), Compost: c.Compost.clone(), Humidity: c.Humidity.clone(), CO2: c.CO2.clone()}
}

func (b *Band) clone() *Band {
	if b == nil {
		return nil
	}
	return &Band{Least: clonePtr(b.Least), Most: clonePtr(b.Most), Source: b.Source}
}

func clonePtr[T any](v *T) *T {
	if v == nil {
		return nil
	}
	c := *v
	return &c
}
