package release

import (
	"fmt"
	"strings"
)

// ForPhase returns the rules by which a lot leaves the yard in a phase.
//
// Phase 1 leaves before it is pasteurised, which happens where it is filled: it
// answers only for what it was made up of, from the mark Filled on, which for such
// a lot is the making up. Phases 2 and 3 have been pasteurised, conditioned and
// cooled and answer to Defaults; a phase 3 lot is no less proven for having been
// colonised since, and nothing more is asked of its spawn run. It returns a
// *RuleError for any other phase.
func ForPhase(phase int) (Rules, error) {
	switch phase {
	case 1:
		return Rules{Criteria: atMakeUp(), Sanity: defaultSanity()}, nil
	case 2, 3:
		return Defaults(), nil
	}
	return Rules{}, &RuleError{Problem: fmt.Sprintf("there is no phase %d of compost: give 1, 2 or 3", phase)}
}

// atMakeUp is what a phase 1 lot answers for. Of nitrogen at make-up, a synthetic
// mix wants slightly more than horse manure.
func atMakeUp() []Criterion {
	return []Criterion{{
		Key: "make-up-nitrogen-1.5-1.7", Subject: "nitrogen at make-up", Quantities: []Quantity{Nitrogen}, Test: EndsWithin,
		Low: milli(1.5), High: milli(1.7), From: Filled, Readings: 1, MinProbes: 1, Source: psuSubstrate,
		Note: "The same source wants slightly more of a synthetic mix; another Penn State text gives 1.7-1.9 % for it.",
	}, {
		Key: "fill-moisture-68-74", Subject: "moisture for filling", Quantities: []Quantity{Moisture}, Test: EndsWithin,
		Low: milli(68), High: milli(74), From: Filled, Readings: 1, MinProbes: 1,
		Source: Source{"Penn State, Six Steps to Mushroom Farming", FromMemory},
	}}
}

// Requirement is what the criterion asks for, in words and with its figures.
func (c Criterion) Requirement() string {
	names := make([]string, len(c.Quantities))
	for i, q := range c.Quantities {
		names[i] = q.String()
	}
	what := strings.Join(names, " and ")
	what = strings.ToUpper(what[:1]) + what[1:]
	if c.Quantities[0] == Acidity {
		what = "pH"
	}
	switch c.Test {
	case HoldsUnbroken, HoldsInAll:
		return fmt.Sprintf("%s of every probe %s for %s%s, between %v and %v", what, c.band(), span(c.Seconds), c.unbroken(), c.From, c.end())
	default:
		text := fmt.Sprintf("%s of every probe %s, measured after the %v", what, c.band(), c.From)
		if c.Readings > 1 {
			text += fmt.Sprintf(", the last %d readings", c.Readings)
		}
		if c.MaxAgeSeconds > 0 {
			text += fmt.Sprintf(", not older than %s", span(c.MaxAgeSeconds))
		}
		return text
	}
}

// end names what bounds the readings that count.
func (c Criterion) end() string {
	if c.To == 0 {
		return "now"
	}
	return c.To.String()
}
