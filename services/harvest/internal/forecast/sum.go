package forecast

// Sum adds the forecasts of several crops, day by calendar day, and tells the
// spread of the total. shift[i] is added to the i-th forecast's days to bring
// them to one common count (e.g. days since some date). Crops are taken to err
// independently of each other; what they share, such as a cold week, makes the
// real spread of a farm's total somewhat wider. The answer runs over the days
// from..from+days−1 of the common count; a forecast adds nothing to days it
// does not cover. It refuses with a *CropError.
func Sum(from, days int, parts []*Forecast, shift []int) (*Forecast, error) {
	if days < 1 || days > maxHorizon {
		return nil, &CropError{"days", "ask for 1 to 120 days"}
	}
	if len(parts) == 0 || len(parts) != len(shift) {
		return nil, &CropError{"parts", "give at least one forecast, and one shift for each"}
	}
	n := parts[0].members
	f := &Forecast{From: from, members: n, days: days, grams: make([]int64, n*days), bearing: make([]int, days*maxBreaks)}
	for i, p := range parts {
		if p.members != n {
			return nil, &CropError{"parts", "forecasts made with different settings cannot be added"}
		}
		for d := range p.days {
			to := p.From + d + shift[i] - from
			if to < 0 || to >= days {
				continue
			}
			for j, g := range p.grams[d*n : (d+1)*n] {
				f.grams[to*n+j] += g
			}
		}
	}
	f.read()
	return f, nil
}
