package blend

import (
	"fmt"
	"math"
)

// Unit is a unit in which yards weigh, or measure water.
type Unit string

const (
	Gram     Unit = "g"
	Kilogram Unit = "kg"
	Tonne    Unit = "t"
	Pound    Unit = "lb"
	ShortTon Unit = "short ton" // 2000 lb
	// GallonOfWater is a US gallon of water, 3.785411784 litres (NIST Handbook
	// 44, appendix C), taken at 1 kg a litre: within 0.4 % from 4 to 30 °C.
	GallonOfWater Unit = "gal"
)

// gramsPer uses the exact pound of 0.45359237 kg (international yard and pound
// agreement, 1959; NIST Handbook 44, appendix C).
var gramsPer = map[Unit]float64{
	Gram: 1, Kilogram: 1000, Tonne: 1e6, Pound: 453.59237, ShortTon: 907_184.74, GallonOfWater: 3785.411784,
}

// Grams turns an amount into whole grams, rounding half away from zero. It
// returns an *InvalidError for an unknown unit, and for an amount that is
// negative, no number, or above maxGrams.
func Grams(amount float64, u Unit) (int64, error) {
	per, ok := gramsPer[u]
	if !ok {
		return 0, invalid("unit", "%q is unknown: use g, kg, t, lb, short ton or gal", u)
	}
	if g := math.Round(amount * per); g >= 0 && g <= maxGrams {
		return int64(g), nil
	}
	return 0, invalid("amount", "%g %s must be from 0 to %g t", amount, u, maxGrams/1e6)
}

// In turns grams into another unit, for showing. It returns an *InvalidError
// for an unknown unit.
func In(grams int64, u Unit) (float64, error) {
	per, ok := gramsPer[u]
	if !ok {
		return 0, invalid("unit", "%q is unknown: use g, kg, t, lb, short ton or gal", u)
	}
	return float64(grams) / per, nil
}

// maxGrams is the largest mass taken, a hundred thousand tonnes: a mistyped
// unit, not a heap.
const maxGrams = 1e11

// InvalidError says what of the input cannot be, and how to mend it.
type InvalidError struct{ Where, Problem string }

func (e *InvalidError) Error() string { return e.Where + ": " + e.Problem }

func invalid(where, format string, args ...any) error {
	return &InvalidError{Where: where, Problem: fmt.Sprintf(format, args...)}
}
