package forecast

import "math"

const (
	shapeA, shapeB = 2.0, 4.0 // of the Beta that a break follows
	shapeSpan      = 1.6      // times the width: how long the Beta is, stragglers included
	shapeSteps     = 256      // cells of the table of F
)

// shapeTable holds F at 0, 1/shapeSteps, …, 1.
var shapeTable = newShapeTable()

// newShapeTable integrates the Beta density by Simpson's rule, finely enough
// that the table is right to about 1e-7.
func newShapeTable() [shapeSteps + 2]float64 {
	density := func(x float64) float64 { return math.Pow(x, shapeA-1) * math.Pow(1-x, shapeB-1) }
	const sub = 32
	var table [shapeSteps + 2]float64
	for i := range shapeSteps {
		h := 1.0 / (shapeSteps * sub)
		x := float64(i) / shapeSteps
		var sum float64
		for range sub {
			sum += h / 6 * (density(x) + 4*density(x+h/2) + density(math.Min(1, x+h)))
			x += h
		}
		table[i+1] = table[i] + sum
	}
	for i := range shapeSteps + 1 {
		table[i] /= table[shapeSteps]
	}
	table[shapeSteps+1] = 1 // so that interpolation may read one past the end
	return table
}

// cumulative is F: the part of a break that is ready by the fraction x of its
// whole span.
func cumulative(x float64) float64 {
	if x <= 0 {
		return 0
	}
	if x >= 1 {
		return 1
	}
	x *= shapeSteps
	i := int(x)
	return shapeTable[i] + (x-float64(i))*(shapeTable[i+1]-shapeTable[i])
}

// dayShare is the part of a break beginning at start and spanning span days
// that is ready on the given day.
func dayShare(day int, start, span float64) float64 {
	from := (float64(day) - start) / span
	to := from + 1/span
	if to <= 0 || from >= 1 {
		return 0
	}
	return cumulative(to) - cumulative(from)
}
