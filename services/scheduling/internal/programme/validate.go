package programme

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
)

// Limits no programme passes. They catch slips of unit or decimal point, not
// unusual growing.
const (
	maxText     = 2_000
	maxDays     = 400
	maxGrams    = 1_000_000 // per m²: a tonne
	maxMinutes  = 10_000    // per m²
	maxBreaks   = 12
	maxVersions = 1_000_000
)

var idForm = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// Validate reports everything that makes the programme unusable, as an
// *InvalidError; nil when it can be used.
func (p *Programme) Validate() error {
	c := &checker{p: p}
	c.head()
	c.sources()
	if slices.Contains(Systems(), p.System) {
		c.stages()
	}
	c.inputs()
	c.breaks()
	c.bears()
	if len(c.problems) == 0 {
		return nil
	}
	return &InvalidError{Programme: p.ID, Problems: c.problems}
}

func (c *checker) head() {
	p := c.p
	if !idForm.MatchString(p.ID) || len(p.ID) > 60 {
		c.add("programme_id", OutOfRange, "is %.80q; use lower-case letters and digits in words joined by \"-\", 60 at most", p.ID)
	}
	c.between("version", int64(p.Version), 1, maxVersions, "")
	c.text("name", p.Name)
	c.text("species", p.Species)
	c.text("latin", p.Latin)
	c.text("strain", p.Strain)
	if !slices.Contains(Systems(), p.System) {
		c.add("growing_system", Unknown, "is %q; use one of %q", p.System, Systems())
	}
}

func (c *checker) sources() {
	for _, key := range slices.Sorted(maps.Keys(c.p.Sources)) {
		s, path := c.p.Sources[key], fmt.Sprintf("sources[%q]", key)
		c.text(path+".text", s.Text)
		switch s.Status {
		case Published, CommonPractice, FromMemory, Own:
		default:
			c.add(path+".status", Unknown, "is %q; use %q, %q, %q or %q", s.Status, Published, CommonPractice, FromMemory, Own)
		}
	}
}

func (c *checker) stages() {
	seq := c.p.System.sequence()
	seen := map[StageKind]bool{}
	last := -1
	for i, s := range c.p.Stages {
		path := fmt.Sprintf("stages[%d]", i)
		at := slices.Index(seq, s.Kind)
		switch {
		case at < 0:
			c.add(path+".kind", Unknown, "is %q; a crop on %s has the stages %q", s.Kind, c.p.System, seq)
		case seen[s.Kind]:
			c.add(path+".kind", Repeated, "%s stands twice", s.Kind)
		case at < last:
			c.add(path+".kind", OutOfOrder, "%s cannot come after %s on %s", s.Kind, seq[last], c.p.System)
		}
		if at >= 0 {
			seen[s.Kind] = true
			last = max(last, at)
			if allowed := c.p.System.places(s.Kind); !slices.Contains(allowed, s.Place) {
				c.add(path+".place", WrongPlace, "%s happens in %q; on %s use %q", s.Kind, s.Place, c.p.System, allowed)
			}
		}
		c.stage(path, s)
	}
	for _, kind := range c.p.System.required() {
		if !seen[kind] {
			c.add("stages", Missing, "has no %s; a crop on %s cannot do without", kind, c.p.System)
		}
	}
}

func (c *checker) stage(path string, s Stage) {
	low := int64(1)
	switch s.Kind {
	case Filling, Spawning, Casing, CookOut, Idle:
		low = 0 // a day's work, or a pause that may be skipped
	}
	c.ranged(path+".days", s.Days, low, maxDays, "days")
	c.between(path+".work_minutes_per_m2.value", s.WorkMinutes.Value, 0, maxMinutes, "minutes")
	c.source(path+".work_minutes_per_m2", s.WorkMinutes.Source)
	if s.Climate == nil {
		return
	}
	c.band(path+".climate.air_tenths_c", s.Climate.Air, -100, 1000, "tenths of °C")
	c.band(path+".climate.compost_tenths_c", s.Climate.Compost, -100, 1000, "tenths of °C")
	c.band(path+".climate.humidity_percent", s.Climate.Humidity, 0, 100, "%")
	c.band(path+".climate.co2_ppm", s.Climate.CO2, 0, 100_000, "ppm")
}

func (c *checker) inputs() {
	in := c.p.Inputs
	c.input("inputs.compost", &in.Compost, 1)
	c.input("inputs.spawn", &in.Spawn, 1)
	c.input("inputs.casing", in.Casing, 1)
	c.input("inputs.supplement", in.Supplement, 1)
	_, cased := c.p.Stage(Casing)
	if cased && in.Casing == nil {
		c.add("inputs.casing", Disagrees, "is left out although the crop is cased; give grams per m²")
	}
	if !cased && in.Casing != nil {
		c.add("inputs.casing", Disagrees, "is given although no stage is casing; leave it out")
	}
}

func (c *checker) input(path string, in *Input, low int64) {
	if in == nil {
		return
	}
	c.between(path+".grams_per_m2", in.Grams, low, maxGrams, "grams per m²")
	c.text(path+".definition", in.Definition)
	c.source(path, in.Source)
}

func (c *checker) breaks() {
	b := c.p.Breaks
	c.ranged("breaks.first_pick_days", b.FirstPick, 1, maxDays, "days")
	c.ranged("breaks.interval_days", b.Interval, 1, maxDays, "days")
	c.ranged("breaks.width_days", b.Width, 1, maxDays, "days")
	c.ranged("breaks.yield_grams_per_m2", b.Yield, 1, maxGrams, "grams per m²")
	c.shares()
	between, ok := c.p.Between(b.After, Cropping)
	if !ok {
		c.add("breaks.after", Disagrees, "is %q, which is not a stage before cropping", b.After)
		return
	}
	if b.FirstPick.Usual != between.Usual || b.FirstPick.Least < between.Least || b.FirstPick.Most > between.Most {
		c.add("breaks.first_pick_days", Disagrees,
			"is %d, usually %d, %d days, but the stages from %s to cropping take %d, usually %d, %d; make the usual days equal and keep within the others",
			b.FirstPick.Least, b.FirstPick.Usual, b.FirstPick.Most, b.After, between.Least, between.Usual, between.Most)
	}
	cropping, _ := c.p.Stage(Cropping)
	if n := int64(len(b.Shares.PerMille)); n > 0 && (n-1)*b.Interval.Usual >= cropping.Days.Most {
		c.add("breaks.interval_days", Disagrees,
			"puts the last of %d breaks on day %d of cropping, which lasts %d days at most; lengthen cropping or drop a break",
			n, (n-1)*b.Interval.Usual, cropping.Days.Most)
	}
}

func (c *checker) shares() {
	shares := c.p.Breaks.Shares
	if n := len(shares.PerMille); n < 1 || n > maxBreaks {
		c.add("breaks.shares.per_mille", OutOfRange, "has %d breaks; give 1 to %d", n, maxBreaks)
	}
	sum := int64(0)
	for i, s := range shares.PerMille {
		c.between(fmt.Sprintf("breaks.shares.per_mille[%d]", i), s, 0, 1000, "per mille")
		sum += s
	}
	if sum != 1000 {
		c.add("breaks.shares.per_mille", BadSum, "sum to %d; make them 1000", sum)
	}
	c.source("breaks.shares", shares.Source)
}

func (c *checker) bears() {
	if len(c.p.Bears) == 0 {
		c.add("bears", Missing, "names no product; give at least one stage of picking")
		return
	}
	seen := map[PickStage]bool{}
	sum := int64(0)
	for i, b := range c.p.Bears {
		path := fmt.Sprintf("bears[%d]", i)
		switch {
		case b.Stage == NoPickStage && len(c.p.Bears) > 1:
			c.add(path+".pick_stage", Missing, "is left out beside other products; give one of %q, or leave one product without a stage", PickStages())
		case b.Stage != NoPickStage && !slices.Contains(PickStages(), b.Stage):
			c.add(path+".pick_stage", Unknown, "is %q; use one of %q, or leave it out for a species without stages", b.Stage, PickStages())
		case seen[b.Stage]:
			c.add(path+".pick_stage", Repeated, "%q stands twice", b.Stage)
		}
		seen[b.Stage] = true
		c.between(path+".per_mille", b.PerMille, 0, 1000, "per mille")
		c.source(path, b.Source)
		sum += b.PerMille
	}
	if sum != 1000 {
		c.add("bears", BadSum, "per mille sum to %d; make them 1000", sum)
	}
}
