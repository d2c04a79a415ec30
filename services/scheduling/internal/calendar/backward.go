package calendar

import "breakshare.example/services/scheduling/internal/programme"

// Backward finds the filling day for a wanted first pick and returns the crop
// with that Fill and its calendar. The crop's own Fill is not read.
//
// Without rules the first pick falls exactly on the wanted day. Rules can make
// that impossible; then the nearest first pick is taken, the earlier of two
// equally near (it is easier to hold a break cool than to hurry it), and of
// several filling days that give it the one that keeps most to the usual days,
// the later of two equal ones. Errors: *CropError; *BegunError.
func Backward(crop Crop, firstPick Date, rules *Rules) (Crop, Calendar, error) {
	if crop.Begun() {
		return crop, Calendar{}, &BegunError{Crop: crop.ID}
	}
	if crop.Programme == nil {
		return crop, Calendar{}, &CropError{Crop: crop.ID, Detail: "has no programme; choose one"}
	}
	span, ok := crop.Programme.Between(programme.Filling, programme.Cropping)
	if !ok {
		return crop, Calendar{}, &CropError{Crop: crop.ID, Detail: "its programme has no filling before cropping; mend the programme"}
	}
	usual := firstPick - Date(span.Usual)
	if usual < FirstDate || usual > LastDate {
		crop.Fill = usual
		_, err := Compute(crop, nil)
		return crop, Calendar{}, err
	}
	var best candidate
	found := false
	for fill := firstPick - Date(span.Most); fill <= firstPick-Date(span.Least); fill++ {
		if !rules.isOpen(programme.Filling, fill) || fill < FirstDate || fill > LastDate {
			continue
		}
		crop.Fill = fill
		c, err := Compute(crop, rules)
		if err != nil {
			return crop, Calendar{}, err
		}
		next := candidate{calendar: c, fill: fill, miss: c.FirstPick.Expected.Sub(firstPick), bend: abs(fill.Sub(usual))}
		if !found || next.before(best) {
			best, found = next, true
		}
	}
	if !found {
		return crop, Calendar{}, rules.check(programme.Filling, usual)
	}
	crop.Fill = best.fill
	return crop, best.calendar, nil
}

type candidate struct {
	calendar Calendar
	fill     Date
	miss     int // days the first pick comes after the wanted day
	bend     int // days the filling lies away from the usual
}

func (a candidate) before(b candidate) bool {
	switch {
	case abs(a.miss) != abs(b.miss):
		return abs(a.miss) < abs(b.miss)
	case a.miss != b.miss:
		return a.miss < b.miss
	case a.bend != b.bend:
		return a.bend < b.bend
	}
	return a.fill > b.fill
}

func abs(v int) int { return max(v, -v) }
