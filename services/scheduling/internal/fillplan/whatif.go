package fillplan

import (
	"fmt"
	"slices"
)

// Clone returns a copy that shares nothing with the instance.
func (in *Instance) Clone() *Instance {
	c := *in
	c.Products = slices.Clone(in.Products)
	c.Farms = slices.Clone(in.Farms)
	c.YardKg = slices.Clone(in.YardKg)
	c.SupplyGrams = cloneRows(in.SupplyGrams)
	c.DemandGrams = cloneRows(in.DemandGrams)
	c.Programmes = slices.Clone(in.Programmes)
	for i := range c.Programmes {
		c.Programmes[i].YieldGrams = cloneRows(c.Programmes[i].YieldGrams)
	}
	c.Rooms = slices.Clone(in.Rooms)
	for i := range c.Rooms {
		c.Rooms[i].Programmes = slices.Clone(c.Rooms[i].Programmes)
	}
	return &c
}

func cloneRows(rows [][]int64) [][]int64 {
	c := make([][]int64, len(rows))
	for i, row := range rows {
		c[i] = slices.Clone(row)
	}
	return c
}

// WithYard returns the instance with the yards' capacity of weeks first to
// before end set to kg: 0 for a yard that is down. It returns an *InstanceError
// when the weeks are not among those of the instance or kg is negative.
func (in *Instance) WithYard(first, end int, kg int64) (*Instance, error) {
	if first < 0 || end > in.Weeks || first >= end {
		return nil, instanceErrorf("cap", "weeks %d to %d are not within the %d weeks", first, end, in.Weeks)
	}
	if kg < 0 {
		return nil, instanceErrorf("cap", "must be at least 0, got %d", kg)
	}
	c := in.Clone()
	for w := first; w < end; w++ {
		c.YardKg[w] = kg
	}
	return c, nil
}

// WithoutRoom returns the instance with a room that can no longer be filled. Its
// index, and that of every other room, stays. It returns an *InstanceError when
// there is no such room.
func (in *Instance) WithoutRoom(room int) (*Instance, error) {
	if room < 0 || room >= len(in.Rooms) {
		return nil, instanceErrorf(fmt.Sprintf("rooms[%d]", room), "there are %d rooms", len(in.Rooms))
	}
	c := in.Clone()
	c.Rooms[room].Programmes = nil
	return c, nil
}

// WithDemand returns the instance with all demand at a percentage of what it
// is, rounded down to the gram: 115 for 15 % more. It returns an *InstanceError
// when the percentage is negative or the demand becomes too large.
func (in *Instance) WithDemand(percent int64) (*Instance, error) {
	if percent < 0 || percent > 10_000 {
		return nil, instanceErrorf("demand", "a percentage from 0 to 10000 is needed, got %d", percent)
	}
	c := in.Clone()
	for _, row := range c.DemandGrams {
		for w, grams := range row {
			row[w] = grams/100*percent + grams%100*percent/100
		}
	}
	if err := c.Validate(); err != nil {
		return nil, err
	}
	return c, nil
}
