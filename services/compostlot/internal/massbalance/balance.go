package massbalance

import (
	"fmt"
	"math"
)

// Heap is compost at one moment.
type Heap struct {
	WetGrams int64
	Moisture float64 // % of wet mass, 0 to below 100
	Nitrogen float64 // % of dry matter
}

// DryGrams is the dry matter.
func (h Heap) DryGrams() float64 { return float64(h.WetGrams) * (100 - h.Moisture) / 100 }

// NitrogenGrams is the nitrogen.
func (h Heap) NitrogenGrams() float64 { return h.DryGrams() * h.Nitrogen / 100 }

// check returns an *InvalidError for a heap that cannot be.
func (h Heap) check(where string) error {
	switch {
	case h.WetGrams <= 0:
		return &InvalidError{where + ", mass", fmt.Sprintf("%d g must be more than 0", h.WetGrams)}
	case !(h.Moisture >= 0 && h.Moisture < 100):
		return &InvalidError{where + ", moisture", fmt.Sprintf("%g %% must be from 0 to below 100", h.Moisture)}
	case !(h.Nitrogen >= 0 && h.Nitrogen <= 100):
		return &InvalidError{where + ", nitrogen", fmt.Sprintf("%g %% must be from 0 to 100", h.Nitrogen)}
	}
	return nil
}

// InvalidError says what of the input cannot be, and how to mend it.
type InvalidError struct{ Where, Problem string }

func (e *InvalidError) Error() string { return e.Where + ": " + e.Problem }

// ImpossibleError says that two measurements cannot both be right.
type ImpossibleError struct {
	What                    string // "dry matter" or "nitrogen"
	BeforeGrams, AfterGrams float64
}

func (e *ImpossibleError) Error() string {
	return fmt.Sprintf("%s grew from %.0f g to %.0f g, which composting cannot do: weigh or sample again, or enter what was added", e.What, e.BeforeGrams, e.AfterGrams)
}

// Stage is what a phase does to a heap.
type Stage struct {
	DryLoss      float64 // share of dry matter lost, 0 to below 1
	NitrogenLoss float64 // share of nitrogen lost, mostly as ammonia, 0 to 1
	Moisture     float64 // % of wet mass after it
}

// Usual is a range of dry-matter loss.
type Usual struct {
	Phase     int
	Low, High float64
	Source    string
}

// UsualLosses are the losses of dry matter that enters each phase.
func UsualLosses() []Usual {
	const source = "textbook range, from memory"
	return []Usual{{1, 0.20, 0.30, source}, {2, 0.20, 0.30, source}}
}

// Expect works out the heap after a stage. Nitrogen in % rises by the factor
// (1 − nitrogen loss) ÷ (1 − dry loss): an identity of masses. It returns an
// *InvalidError for a heap or a stage that cannot be.
func Expect(h Heap, s Stage) (Heap, error) {
	if err := h.check("heap"); err != nil {
		return Heap{}, err
	}
	if !(s.DryLoss >= 0 && s.DryLoss < 1) {
		return Heap{}, &InvalidError{"stage, dry-matter loss", fmt.Sprintf("%g must be from 0 to below 1", s.DryLoss)}
	}
	if !(s.NitrogenLoss >= 0 && s.NitrogenLoss <= 1) {
		return Heap{}, &InvalidError{"stage, nitrogen loss", fmt.Sprintf("%g must be from 0 to 1", s.NitrogenLoss)}
	}
	if !(s.Moisture >= 0 && s.Moisture < 100) {
		return Heap{}, &InvalidError{"stage, moisture", fmt.Sprintf("%g %% must be from 0 to below 100", s.Moisture)}
	}
	dry := h.DryGrams() * (1 - s.DryLoss)
	out := Heap{
		WetGrams: int64(math.Round(dry * 100 / (100 - s.Moisture))), Moisture: s.Moisture,
		Nitrogen: h.Nitrogen * (1 - s.NitrogenLoss) / (1 - s.DryLoss),
	}
	return out, out.check("heap after the stage")
}

// LeastDryLoss is the smallest share of dry matter that must have gone for
// nitrogen to rise from one % to another: 1 − before ÷ after, reached when no
// nitrogen is lost. It is 0 where nitrogen did not rise, and an *InvalidError
// comes for contents that are not above 0 to 100.
func LeastDryLoss(before, after float64) (float64, error) {
	for where, v := range map[string]float64{"nitrogen before": before, "nitrogen after": after} {
		if !(v > 0 && v <= 100) {
			return 0, &InvalidError{where, fmt.Sprintf("%g %% must be above 0, to 100", v)}
		}
	}
	return math.Max(0, 1-before/after), nil
}

// Loss is what two measurements of a heap say.
type Loss struct {
	Dry, Nitrogen float64 // shares lost; a gain within the tolerance counts as 0
}

// Measured compares a heap before and after, with what was added in between
// (nil for nothing). Tolerance is the share by which sampling may be off, for
// example 0.05. It returns an *ImpossibleError where dry matter or nitrogen
// grew by more, and an *InvalidError for heaps that cannot be.
func Measured(before, after Heap, added []Heap, tolerance float64) (Loss, error) {
	if !(tolerance >= 0 && tolerance < 1) {
		return Loss{}, &InvalidError{"tolerance", fmt.Sprintf("%g must be from 0 to below 1", tolerance)}
	}
	if err := after.check("heap after"); err != nil {
		return Loss{}, err
	}
	var dry, nitrogen float64
	for i, h := range append([]Heap{before}, added...) {
		where := "heap before"
		if i > 0 {
			where = fmt.Sprintf("addition %d", i)
		}
		// Water adds no dry matter: a moisture of 100 is right here.
		if wet := i > 0 && h.Moisture == 100 && h.WetGrams > 0; wet {
			continue
		}
		if err := h.check(where); err != nil {
			return Loss{}, err
		}
		dry += h.DryGrams()
		nitrogen += h.NitrogenGrams()
	}
	var out Loss
	var err error
	if out.Dry, err = lost("dry matter", dry, after.DryGrams(), tolerance); err != nil {
		return Loss{}, err
	}
	if out.Nitrogen, err = lost("nitrogen", nitrogen, after.NitrogenGrams(), tolerance); err != nil {
		return Loss{}, err
	}
	return out, nil
}

func lost(what string, before, after, tolerance float64) (float64, error) {
	if after > before*(1+tolerance) {
		return 0, &ImpossibleError{What: what, BeforeGrams: before, AfterGrams: after}
	}
	if before == 0 {
		return 0, nil
	}
	return math.Max(0, 1-after/before), nil
}
