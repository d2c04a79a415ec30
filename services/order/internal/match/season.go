package match

import "math/bits"

// Season says for each farm, in the order given, how many packs more than its fair part of all
// that was matched it has had; negative where fewer. Fair is in proportion to what the farms
// offered, or where shares are given, to those (0 counts as 1). Parts are rounded down.
func Season(farms []FarmSum, shares map[string]int64) []int64 {
	var weights, matched int64
	weight := func(f FarmSum) int64 {
		if shares == nil {
			return f.Offered
		}
		return max(1, shares[f.Farm])
	}
	for _, f := range farms {
		weights += weight(f)
		matched += f.Matched
	}
	ahead := make([]int64, len(farms))
	for i, f := range farms {
		if weights > 0 {
			ahead[i] = f.Matched - part(matched, weight(f), weights)
		}
	}
	return ahead
}

// part is whole × weight / weights, rounded down, weight being no more than weights.
func part(whole, weight, weights int64) int64 {
	high, low := bits.Mul64(uint64(whole), uint64(weight))
	quotient, _ := bits.Div64(high, low, uint64(weights))
	return int64(quotient)
}
