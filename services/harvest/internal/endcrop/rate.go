package endcrop

import "math/big"

// Rate is a net value earned over a number of room-days. Comparisons are exact.
type Rate struct {
	Net  int64 // minor units
	Days int64 // above 0
}

// Compare is below 0, 0 or above 0 as r earns less per day than o, as much, or
// more.
func (r Rate) Compare(o Rate) int {
	left := new(big.Int).Mul(big.NewInt(r.Net), big.NewInt(o.Days))
	right := new(big.Int).Mul(big.NewInt(o.Net), big.NewInt(r.Days))
	return left.Cmp(right)
}

// PerDay is the rate in minor units per room-day, rounded half away from zero.
func (r Rate) PerDay() int64 { return divide(r.Net, r.Days) }

// over is what the rate earns in the given days, rounded half away from zero.
func (r Rate) over(days int64) int64 {
	product := new(big.Int).Mul(big.NewInt(r.Net), big.NewInt(2*days))
	denominator := big.NewInt(2 * r.Days)
	half := big.NewInt(r.Days)
	if product.Sign() < 0 {
		half.Neg(half)
	}
	return product.Add(product, half).Quo(product, denominator).Int64()
}

// divide rounds half away from zero; d is above 0.
func divide(n, d int64) int64 {
	q, r := n/d, n%d
	switch {
	case 2*r >= d:
		q++
	case 2*r <= -d:
		q--
	}
	return q
}

// Step is one further break, year or other stretch of a cycle.
type Step struct {
	Net  int64 // minor units; negative for a cost
	Days int64 // 0 or more
}

// BestAverage finds after how many steps a cycle should end so that its average
// is greatest, given the changeover's net value (a cost is negative) and days.
// At least one step is run; of equal averages the shorter cycle wins. It
// returns 0 steps when no step brings the days above 0.
func BestAverage(changeover Step, steps []Step) (int, Rate) {
	best, rate := 0, Rate{}
	now := Rate(changeover)
	for i, s := range steps {
		now.Net += s.Net
		now.Days += s.Days
		if now.Days > 0 && (best == 0 || now.Compare(rate) > 0) {
			best, rate = i+1, now
		}
	}
	return best, rate
}
