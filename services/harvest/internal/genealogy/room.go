package genealogy

import (
	"cmp"
	"slices"

	"breakshare.example/services/harvest/internal/day"
)

// OverrunDays is how long after its planned end a crop that nobody has ended is
// still taken to stand: growers pick on when the room bears, and write the end
// down later. Common practice, no source.
const OverrunDays = 28

// standing is how a crop stands in its room on a day, the surest first.
type standing int

const (
	absent standing = iota
	beforeFirstPick
	overrunning // gone by the plan, but not ended; or ended on that very day
	bearing
)

func (c Crop) standing(on day.Date) standing {
	switch {
	case on < c.Fill || c.Free <= c.Fill:
		return absent
	case on < c.Free && on >= c.FirstPick:
		return bearing
	case on < c.Free:
		return beforeFirstPick
	case c.Filled && on < c.Free.Add(c.overrun()):
		return overrunning
	}
	return absent
}

// overrun is for how many days from Free on mushrooms of a filled crop may
// still be put down to it. One that was ended may have been picked in the
// morning of that day.
func (c Crop) overrun() int {
	if c.Ended {
		return 1
	}
	return OverrunDays
}

// CropOn returns the crop from which mushrooms of a room on a day come.
//
// A room holds one crop at a time, so one that was really filled has cleared
// those filled before it. Of the crops left, one that bears on that day comes
// first; then one that was to be gone by then but that nobody ended; then one
// that does not bear yet by its plan, which may run ahead of it. Among equals a
// crop really filled comes before a planned one, then the one filled later,
// then the smaller id.
func (b *Book) CropOn(roomID string, on day.Date) (Crop, bool) {
	crops := b.byRoom[roomID]
	cleared := slices.IndexFunc(crops, func(c Crop) bool { return c.Filled && c.Fill <= on && c.Free > c.Fill })
	var best Crop
	found := absent
	for _, c := range crops {
		if cleared >= 0 && c.Fill < crops[cleared].Fill {
			break
		}
		s := c.standing(on)
		if s > found || (s == found && s != absent && c.Filled && !best.Filled) {
			best, found = c, s
		}
	}
	return best, found != absent
}

// deliveryReach is how many days compost may come before or after the day of
// filling and still be that fill's. Common practice, no source.
const deliveryReach = 7

// cropOfFill returns the crop that was filled with what came to a room on a
// day: the one with the nearest day of filling, the later of two equally near;
// beyond reach, whatever crop stands in the room.
func (b *Book) cropOfFill(roomID string, on day.Date) (Crop, bool) {
	crops := b.byRoom[roomID]
	best := -1
	for i, c := range crops {
		away := distance(c.Fill, on)
		if c.Free > c.Fill && away <= deliveryReach && (best < 0 || away < distance(crops[best].Fill, on)) {
			best = i
		}
	}
	if best >= 0 {
		return crops[best], true
	}
	return b.CropOn(roomID, on)
}

func distance(a, b day.Date) int { return max(a.Sub(b), b.Sub(a)) }

// laterFillFirst orders the crops of a room: the later fill first, then those
// really filled, then by id.
func laterFillFirst(a, b Crop) int {
	return cmp.Or(cmp.Compare(b.Fill, a.Fill), -compareBool(a.Filled, b.Filled), cmp.Compare(a.ID, b.ID))
}

// compareBool puts false before true.
func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}
