package server

import (
	"fmt"
	"slices"
	"strings"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// facilities takes over the tunnels and other rooms that the plan names, and notes
// the places for which one of the farm's own is to be found.
func (p *planner) facilities(d *draft, named []*schedulingv1.CropFacility, path string) error {
	uses := passesThrough(d.crop.programme)
	for i, n := range named {
		at := fmt.Sprintf("%s.facilities[%d]", path, i)
		place := places.word[n.GetPlace()]
		switch {
		case !slices.Contains(uses, place):
			return fault.InvalidField(at+".place", "programme %q passes through no %s; it uses %s", d.crop.programme.ID, place, orNothing(uses))
		case slices.ContainsFunc(d.crop.Facilities, func(f store.CropFacility) bool { return f.Place == place }):
			return fault.InvalidField(at+".place", "the %s is named twice; keep one", place)
		}
		j := slices.IndexFunc(p.places, func(f store.Facility) bool { return f.ID == n.GetFacilityId() })
		if j < 0 {
			return unknown("FACILITY", n.GetFacilityId(), at+".facility_id", "save the facility first")
		}
		if f := p.places[j]; f.Place != place || (f.FarmID != "" && f.FarmID != d.crop.FarmID) {
			return fault.New(fault.Precondition, "FACILITY_DOES_NOT_FIT", "%s.facility_id: %q is a %s of %s; the crop of farm %q needs a %s of its own farm or a shared one", at, f.ID, f.Place, owner(f), d.crop.FarmID, place).
				WithField(at+".facility_id", "is a %s of %s", f.Place, owner(f))
		}
		d.crop.Facilities = append(d.crop.Facilities, store.CropFacility{Place: place, ID: n.GetFacilityId(), Load: n.GetLoad()})
	}
	for _, place := range uses {
		if !slices.ContainsFunc(d.crop.Facilities, func(f store.CropFacility) bool { return f.Place == place }) && len(p.own(d.crop.FarmID, place)) > 0 {
			d.open = append(d.open, place)
		}
	}
	return nil
}

// find gives the draft the farm's own facilities, for each place the first by id
// that is free on its days, or the first where none is.
func (p *planner) find(d *draft) error {
	for _, place := range d.open {
		own := p.own(d.crop.FarmID, place)
		d.crop.Facilities = append(d.crop.Facilities, store.CropFacility{Place: place})
		last := &d.crop.Facilities[len(d.crop.Facilities)-1]
		for _, id := range append(own, own[0]) {
			last.ID = id
			if err := d.recompute(p.rules); err != nil {
				return err
			}
			if _, taken := p.clash(d.rules, d.calendar, p.rules); !taken {
				break
			}
		}
	}
	d.open = nil
	slices.SortFunc(d.crop.Facilities, func(a, b store.CropFacility) int { return strings.Compare(string(a.Place), string(b.Place)) })
	return d.recompute(p.rules)
}

// recompute lays the draft's dates anew, after its facilities or its day changed.
func (d *draft) recompute(rules *calendar.Rules) error {
	d.rules = rulesCrop(d.crop.Crop, d.crop.programme)
	var err error
	if d.calendar, err = calendar.Compute(d.rules, rules); err != nil {
		return dateFault(err, d.dateAt)
	}
	lay(&d.crop.Crop, d.calendar)
	return nil
}

// own lists the farm's facilities of a kind, by id.
func (p *planner) own(farmID string, place programme.Place) []string {
	var out []string
	for _, f := range p.places {
		if f.FarmID == farmID && f.Place == place {
			out = append(out, f.ID)
		}
	}
	return out
}

// passesThrough lists the reserved places of a programme beside the growing room,
// in the order in which a crop comes to them.
func passesThrough(prog *programme.Programme) []programme.Place {
	var out []programme.Place
	for _, s := range prog.Stages {
		if s.Place.Reserved() && s.Place != programme.GrowingRoom && !slices.Contains(out, s.Place) {
			out = append(out, s.Place)
		}
	}
	return out
}

func orNothing(uses []programme.Place) string {
	if len(uses) == 0 {
		return "its growing room only"
	}
	return fmt.Sprintf("%q", uses)
}

func owner(f store.Facility) string {
	if f.FarmID == "" {
		return "the whole co-op"
	}
	return fmt.Sprintf("farm %q", f.FarmID)
}
