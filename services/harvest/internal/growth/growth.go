// Package growth owns what harvest knows of how a crop grows: its steps with
// their dates, and how its programme says it bears. It turns them into what the
// break forecast works with, and says what a push may ask of a crop.
package growth

import (
	"hash/fnv"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/forecast"
)

// Step is a step of a crop, in the words of the trade.
type Step string

// The steps from which a first pick may be counted, picking, and what follows.
const (
	Filling  Step = "filling"
	Spawning Step = "spawning"
	Casing   Step = "casing"
	Pinning  Step = "pinning"
	Cropping Step = "cropping"
	CookOut  Step = "cook-out"
	Idle     Step = "idle"
)

// stages are the steps that the forecast counts from. Pinning begins with the
// airing that brings on the pins.
var stages = map[Step]forecast.Stage{
	Filling: forecast.Filled, Spawning: forecast.Spawned, Casing: forecast.Cased, Pinning: forecast.Aired,
}

// Range is least, usual and most of one quantity, with where it comes from.
type Range struct {
	Least, Usual, Most int64
	Source             string
	Basis              forecast.Basis
}

// StepDate is a step with its day.
type StepDate struct {
	Step  Step
	Start day.Date // as now expected, or as it was
	Real  bool     // it really began on that day
	Days  *Range   // to the next step by the programme; nil where nobody told
}

// Share is the part of the yield that comes at one stage of picking; Stage is
// empty for a species without stages.
type Share struct {
	Stage    string
	PerMille int64
}

// Profile is how a programme says its crops bear.
type Profile struct {
	After     Step  // from which the first pick counts
	FirstPick Range // days
	Interval  Range // days
	Width     Range // days
	Shares    []int64
	Yield     Range // grams per m²
	Bears     []Share
}

// Crop is one crop as far as its growing goes.
type Crop struct {
	ID      string
	Species string
	AreaM2  int32
	Fill    day.Date
	Free    day.Date
	Ended   bool
	Steps   []StepDate
	Profile *Profile // nil where nobody told
	Before  []Ended  // of the same programme; those that ended by its filling teach it
}

// StepOn is the step in which the crop stands on a day: the last that has begun;
// empty before the first.
func (c Crop) StepOn(on day.Date) Step {
	var now Step
	for _, s := range c.Steps {
		if s.Start <= on {
			now = s.Step
		}
	}
	return now
}

// CanBear reports whether the programme knows of the stage of picking. Where it
// tells of none, or the product has none, anything goes.
func (c Crop) CanBear(stage string) bool {
	if c.Profile == nil || len(c.Profile.Bears) == 0 || stage == "" {
		return true
	}
	for _, b := range c.Profile.Bears {
		if b.Stage == stage || b.Stage == "" {
			return true
		}
	}
	return false
}

// Stages lists the stages at which the crop bears, as a sentence names them.
func (c Crop) Stages() []string {
	var out []string
	if c.Profile != nil {
		for _, b := range c.Profile.Bears {
			out = append(out, b.Stage)
		}
	}
	return out
}

// seed stays with the crop.
func (c Crop) seed() uint64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(c.ID)) // it never fails
	return h.Sum64()
}
