package forecast

import "fmt"

// YieldError refuses a weight from which no yield can be told.
type YieldError struct{ Why string }

func (e *YieldError) Error() string { return fmt.Sprintf("yield: %s", e.Why) }

// BiologicalEfficiency is fresh weight as a percentage of the dry weight of the
// substrate (as used by Royse 1985, Mycologia 77:756). It refuses with a
// *YieldError.
func BiologicalEfficiency(freshGrams, dryGrams int64) (float64, error) {
	if freshGrams < 0 || dryGrams <= 0 {
		return 0, &YieldError{"give fresh grams of 0 or more and the dry grams of the substrate above 0"}
	}
	return 100 * float64(freshGrams) / float64(dryGrams), nil
}

// ProductionRate is biological efficiency per day of the crop, in percent per
// day (Royse 1985). It refuses with a *YieldError.
func ProductionRate(efficiency float64, days int) (float64, error) {
	if days < 1 {
		return 0, &YieldError{"give at least one day"}
	}
	return efficiency / float64(days), nil
}

// YieldOf scales a programme's yield to a room's own fill: with a biological
// efficiency range in percent and the dry grams of substrate per m², it is
// efficiency × dry/100. It refuses with a *YieldError.
func YieldOf(efficiency Range, dryGramsPerM2 int64) (Range, error) {
	if dryGramsPerM2 <= 0 || efficiency.Low <= 0 || efficiency.Low > efficiency.Likely || efficiency.Likely > efficiency.High {
		return Range{}, &YieldError{"give dry grams per m² above 0 and an efficiency above 0 that does not fall from low to high"}
	}
	k := float64(dryGramsPerM2) / 100
	return Range{efficiency.Low * k, efficiency.Likely * k, efficiency.High * k, efficiency.Basis, efficiency.Source}, nil
}

// DayMost is the most grams that a bed of the given area, in tenths of m², can
// be expected to bear in one day by the profile: the high yield, the high share
// of the largest break, picked over the low width. A push far above it is a slip
// of the pen. It is 0 for an area that is not above 0.
func (m *Model) DayMost(areaTenthM2 int64) int64 {
	if areaTenthM2 <= 0 {
		return 0
	}
	var share, total float64
	for _, r := range m.profile.Shares {
		share = max(share, r.High)
		total += r.Likely
	}
	span := shapeSpan * m.profile.Width.Low
	var peak float64
	for i := range 64 {
		start := float64(i) / 64
		for day := range int(span) + 2 {
			peak = max(peak, dayShare(day, start, span))
		}
	}
	return int64(m.profile.Yield.High*float64(areaTenthM2)/10*min(1, share/total)*peak + 0.5)
}
