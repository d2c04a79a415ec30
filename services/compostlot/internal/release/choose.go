package release

import (
	"fmt"
	"slices"
)

// Choice is a criterion of the catalogue as a co-op wants it: figures that are not
// nil replace the catalogue's, and then Source says where they come from.
type Choice struct {
	Key                string
	Low, High, Seconds *int64
	MinProbes          int // 0 for the catalogue's
	Source             string
}

// CatalogueFor lists what lots that leave in a phase can be asked to prove,
// alternatives of a subject together. It returns a *RuleError for a phase that
// there is none of.
func CatalogueFor(phase int) ([]Criterion, error) {
	if phase == 2 || phase == 3 {
		return Catalogue(), nil
	}
	rules, err := ForPhase(phase)
	return rules.Criteria, err
}

// Choose makes rules out of a co-op's choices. It returns a *RuleError for a
// criterion that the phase's catalogue does not have, two of one subject, changed
// figures without a source, and figures that make no sense.
func Choose(phase int, choices []Choice) (Rules, error) {
	catalogue, err := CatalogueFor(phase)
	if err != nil {
		return Rules{}, err
	}
	out := Rules{Sanity: defaultSanity()}
	subjects := map[string]string{}
	for _, choice := range choices {
		i := slices.IndexFunc(catalogue, func(c Criterion) bool { return c.Key == choice.Key })
		if i < 0 {
			return Rules{}, &RuleError{Key: choice.Key, Problem: "is not in the catalogue of this phase: choose one that is"}
		}
		c, err := choice.apply(catalogue[i])
		if err != nil {
			return Rules{}, err
		}
		if other, twice := subjects[c.Subject]; twice {
			return Rules{}, &RuleError{Key: choice.Key, Problem: fmt.Sprintf("is about %s as %s is: keep one", c.Subject, other)}
		}
		subjects[c.Subject] = c.Key
		out.Criteria = append(out.Criteria, c)
	}
	return out, out.Check()
}

// apply replaces the catalogue's figures.
func (choice Choice) apply(c Criterion) (Criterion, error) {
	changed := choice.Low != nil || choice.High != nil || choice.Seconds != nil || choice.MinProbes != 0
	switch {
	case changed && choice.Source == "":
		return c, &RuleError{Key: c.Key, Figure: FigureSource, Problem: "has figures that are not the catalogue's: say where they come from"}
	case choice.Seconds != nil && c.Test == EndsWithin:
		return c, &RuleError{Key: c.Key, Figure: FigureSeconds, Problem: "looks at last readings only: leave the time out"}
	}
	if choice.Low != nil {
		c.Low = choice.Low
	}
	if choice.High != nil {
		c.High = choice.High
	}
	if choice.Seconds != nil {
		c.Seconds = *choice.Seconds
	}
	if choice.MinProbes != 0 {
		c.MinProbes = choice.MinProbes
	}
	if changed {
		c.Source = Source{Text: choice.Source, Standing: CoopsOwn}
	}
	return c, nil
}
