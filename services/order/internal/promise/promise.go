// Package promise says how much of an uncertain pick a co-op should promise to its customers.
//
// A pick is known by three figures: low, likely and high. They are taken as the points below
// which it falls one, five and nine times in ten, and the pick as a split normal distribution
// around the likely figure: one normal's lower half to the left, another's upper half to the
// right, each scaled to meet its point (an assumption; growers' figures say no more).
//
// A kilogram promised and not there costs the co-op its word, or a purchase elsewhere; a kilogram
// there and not promised goes unsold. With a price on each, the expected cost is least where the
// pick falls short of the promise with the probability unsold / (unsold + broken): the critical
// ratio of the newsvendor problem, with supply in place of demand (Arrow, Harris and Marschak,
// Optimal inventory policy, Econometrica 19, 1951).
//
// The co-op promises as a whole, and its total is surer than its parts. Farms are taken to miss
// their figures with one common correlation between any two of them, a setting from 0 (each for
// itself) to 1 (all together); the lots of one farm miss them together. The spread of the total
// is then the root of (1-r) times the sum of the farms' squared spreads plus r times the square
// of their sum, on each side of the likely figure.
package promise

import (
	"fmt"
	"math"
)

// tenth is how many standard deviations above its mean a normal variable is one time in ten.
const tenth = 1.2815515655446004

// largest figure of grams that is taken, far above any trade.
const largest = 1 << 50

// Lot is what is expected of one pick lot, in grams.
type Lot struct {
	ID, Farm string
	// Low, Likely and High, 0 or more and in this order. They are equal where the pick is known.
	Low, Likely, High int64
}

// Costs per kilogram, in minor units of money, 0 or more and not both 0.
type Costs struct {
	// Broken is what a kilogram costs that is promised and not there.
	Broken int64
	// Unsold is what a kilogram costs that is there and not promised.
	Unsold int64
}

// Promise is what to promise.
type Promise struct {
	// Grams by lot, in the order of the lots, each from 0 to its high figure.
	Grams []int64
	// Total of them.
	Total int64
	// Alone is what the lots' promises would add up to if each had to be kept by itself.
	Alone int64
	// Level is the probability that the total falls short of what is promised.
	Level float64
}

// Gained is what pooling adds to the promise, in grams; negative where a pick short of the
// promise is cheap and the total, being surer, calls for less above the likely figure.
func (p Promise) Gained() int64 { return p.Total - p.Alone }

// Problem is an input that makes no sense.
type Problem struct {
	// Thing is "lot", "costs" or "correlation"; ID says which lot.
	Thing, ID string
	// Text says what is wrong and how to mend it.
	Text string
}

// Error implements error.
func (p *Problem) Error() string { return fmt.Sprintf("promise: %s %s %s", p.Thing, p.ID, p.Text) }

// Level is the probability of falling short at which a promise costs least. It returns a
// *Problem for costs below 0 and for two of 0, which say nothing.
func Level(c Costs) (float64, error) {
	if c.Broken < 0 || c.Unsold < 0 || c.Broken+c.Unsold == 0 {
		return 0, &Problem{"costs", fmt.Sprintf("%d and %d", c.Broken, c.Unsold), "say nothing: give two of 0 or more, and one above 0"}
	}
	return Critical(float64(c.Unsold), float64(c.Broken)), nil
}

// Critical is the critical ratio of the newsvendor: under is what one too few costs, over what
// one too many does.
func Critical(under, over float64) float64 { return under / (under + over) }

// Normal is the point below which a normal variable falls with the probability level, in
// standard deviations from its mean.
func Normal(level float64) float64 { return math.Sqrt2 * math.Erfinv(2*level-1) }

// Pool says what to promise of all lots of one product together. thousandths is the correlation
// between farms times 1000, 0 to 1000. It returns a *Problem for figures that make no sense.
func Pool(lots []Lot, c Costs, thousandths int) (Promise, error) {
	level, err := Level(c)
	if err != nil {
		return Promise{}, err
	}
	if thousandths < 0 || thousandths > 1000 {
		return Promise{}, &Problem{"correlation", fmt.Sprint(thousandths), "is none: give 0 to 1000 thousandths"}
	}
	for _, l := range lots {
		if l.Low < 0 || l.Low > l.Likely || l.Likely > l.High || l.High > largest {
			return Promise{}, &Problem{"lot", l.ID, fmt.Sprintf("expects %d, %d and %d grams: give low, likely and high in this order", l.Low, l.Likely, l.High)}
		}
	}
	return pool(lots, level, float64(thousandths)/1000), nil
}

func pool(lots []Lot, level, r float64) Promise {
	p := Promise{Level: level, Grams: make([]int64, len(lots))}
	z := Normal(level)
	spread := func(l Lot) float64 {
		if z < 0 {
			return float64(l.Likely-l.Low) / tenth
		}
		return float64(l.High-l.Likely) / tenth
	}
	farms, order := make(map[string]float64), []string{}
	all := 0.0
	for _, l := range lots {
		s := spread(l)
		if _, known := farms[l.Farm]; !known {
			order = append(order, l.Farm)
		}
		farms[l.Farm] += s
		all += s
	}
	squares := 0.0
	for _, farm := range order {
		squares += farms[farm] * farms[farm]
	}
	// What is left of the spreads when they are pooled: 1 where nothing is gained.
	pooled := 1.0
	if all > 0 {
		pooled = math.Sqrt((1-r)*squares+r*all*all) / all
	}
	for i, l := range lots {
		p.Grams[i] = at(l, z, spread(l)*pooled)
		p.Total += p.Grams[i]
		p.Alone += at(l, z, spread(l))
	}
	return p
}

// at is so many spreads from the likely figure, rounded down, and never below nothing or above
// the high figure.
func at(l Lot, z, spread float64) int64 {
	step := 0.0
	if spread > 0 {
		step = math.Max(-float64(l.Likely), math.Min(z*spread, float64(l.High-l.Likely)))
	}
	// A millionth of a gram is the rounding of the arithmetic, not of the pick.
	return l.Likely + int64(math.Floor(step+1e-6))
}
