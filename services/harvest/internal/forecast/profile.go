package forecast

import (
	"math"
	"slices"
)

// Basis says how much a figure may be trusted.
type Basis uint8

// The bases of a figure, best first.
const (
	Published      Basis = iota + 1 // a publication named in Source
	CommonPractice                  // said by growers, no source
	FromMemory                      // recalled, not confirmed
	Learned                         // this co-op's own finished crops
)

// String names the basis as a screen shows it.
func (b Basis) String() string {
	switch b {
	case Published:
		return "published"
	case CommonPractice:
		return "common practice, no source"
	case FromMemory:
		return "from memory"
	case Learned:
		return "the co-op's own crops"
	}
	return "unknown"
}

// z95 is the standard normal quantile of 95 %: a Range's Low and High are read
// as the 5 % and 95 % points of its distribution.
const z95 = 1.6448536269514722

// Range is a distribution told the way growers tell it: nineteen times out of
// twenty above Low and below High, most often near Likely.
type Range struct {
	Low, Likely, High float64
	Basis             Basis
	Source            string // publication, or what the figure rests on
}

// at maps a standard normal z to the range's two-piece normal.
func (r Range) at(z float64) float64 {
	if z < 0 {
		return r.Likely + z*(r.Likely-r.Low)/z95
	}
	return r.Likely + z*(r.High-r.Likely)/z95
}

// logSD is the standard deviation of the lognormal whose 5 % and 95 % points
// are Low and High.
func (r Range) logSD() float64 { return math.Log(r.High/r.Low) / (2 * z95) }

// Stage is a step of a crop from which the first pick can be counted.
type Stage uint8

// Stages in the order in which a crop passes them.
const (
	Filled  Stage = iota + 1 // room filled: day 0
	Spawned                  // spawn mixed in
	Cased                    // casing layer laid
	Aired                    // fresh air given, to bring on pins
	Pinned                   // pins seen
)

// String names the stage.
func (s Stage) String() string {
	switch s {
	case Filled:
		return "filled"
	case Spawned:
		return "spawned"
	case Cased:
		return "cased"
	case Aired:
		return "aired"
	case Pinned:
		return "pinned"
	}
	return "unknown"
}

// Lag is the time in days from a stage to the first pick.
type Lag struct {
	From Stage
	Days Range
}

// PickStage is one stage of opening at which the product is picked, with the
// part of the grams that it usually makes up.
type PickStage struct {
	Name     string // e.g. "closed", "cup", "flat"
	PerMille int64  // of the crop's grams; all stages of a profile add up to 1000
}

// Profile is what a crop programme says about its breaks.
type Profile struct {
	Name       string
	FirstPick  []Lag   // at least one; the latest stage reached is used
	Interval   Range   // days from the start of one break to the start of the next
	Width      Range   // days over which one break is picked
	Shares     []Range // percent of the whole yield, one per break; they are scaled to 100
	Yield      Range   // grams per m² over all breaks
	PickStages []PickStage
}

// Breaks is the number of breaks the profile tells of.
func (p Profile) Breaks() int { return len(p.Shares) }

// shareLogs returns log(share_k) with the likely shares scaled to add up to 1.
func (p Profile) shareLogs() []float64 {
	var sum float64
	for _, r := range p.Shares {
		sum += r.Likely
	}
	out := make([]float64, len(p.Shares))
	for i, r := range p.Shares {
		out[i] = math.Log(r.Likely / sum)
	}
	return out
}

// breakSD is the standard deviation of log(share) about its likely value,
// averaged over the breaks in variance.
func (p Profile) breakSD() float64 {
	var sum float64
	for _, r := range p.Shares {
		sum += r.logSD() * r.logSD()
	}
	return math.Sqrt(sum / float64(len(p.Shares)))
}

// Check refuses a profile from which no curve can be drawn. The error is a
// *ProfileError that names the figure and how to mend it.
func (p Profile) Check() error {
	bad := func(field, why string) error { return &ProfileError{Profile: p.Name, Field: field, Why: why} }
	if len(p.FirstPick) == 0 {
		return bad("first pick", "give the days to the first pick from at least one stage")
	}
	seen := map[Stage]bool{}
	for _, l := range p.FirstPick {
		if l.From < Filled || l.From > Pinned || seen[l.From] {
			return bad("first pick", "each lag counts from a known stage, once")
		}
		seen[l.From] = true
		if why := rangeFault(l.Days, 0, 400); why != "" {
			return bad("first pick after "+l.From.String(), why)
		}
	}
	for _, f := range []struct {
		name     string
		r        Range
		min, max float64
	}{{"interval", p.Interval, 1, 200}, {"width", p.Width, 0.5, 60}, {"yield", p.Yield, 1, 500_000}} {
		if why := rangeFault(f.r, f.min, f.max); why != "" {
			return bad(f.name, why)
		}
	}
	if len(p.Shares) == 0 || len(p.Shares) > maxBreaks {
		return bad("shares", "give the share of each break, for 1 to 8 breaks")
	}
	for _, r := range p.Shares {
		if why := rangeFault(r, 0.01, 100); why != "" {
			return bad("shares", why)
		}
	}
	var sum int64
	for _, s := range p.PickStages {
		if s.Name == "" || s.PerMille < 0 {
			return bad("pick stages", "each stage of picking needs a name and a share of 0 or more")
		}
		sum += s.PerMille
	}
	if len(p.PickStages) > 0 && sum != 1000 {
		return bad("pick stages", "the shares of all stages of picking must add up to 1000 per mille")
	}
	return nil
}

func rangeFault(r Range, minimum, maximum float64) string {
	for _, v := range []float64{r.Low, r.Likely, r.High} {
		if math.IsNaN(v) || v < minimum || v > maximum {
			return "a value lies outside what is possible"
		}
	}
	if r.Low > r.Likely || r.Likely > r.High {
		return "low, likely and high must not fall"
	}
	if r.Basis < Published || r.Basis > Learned || (r.Basis == Published && r.Source == "") {
		return "say what the figure rests on"
	}
	return ""
}

// lagFrom returns the lag counted from the latest of the stages that really
// happened and for which the profile has a lag.
func (p Profile) lagFrom(stages []StageDate) (StageDate, Range, bool) {
	var best StageDate
	var days Range
	for _, s := range stages {
		i := slices.IndexFunc(p.FirstPick, func(l Lag) bool { return l.From == s.Stage })
		if i >= 0 && s.Stage > best.Stage {
			best, days = s, p.FirstPick[i].Days
		}
	}
	return best, days, best.Stage != 0
}
