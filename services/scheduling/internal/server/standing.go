package server

import (
	"slices"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// standing is the crops that stand or are planned, with their dates, by the rooms
// and facilities that they hold.
type standing struct {
	crops     []calendar.Crop
	calendars []calendar.Calendar
	in        map[string][]int // indices by room or facility
}

// stand adds stored crops.
func (s *standing) stand(crops []store.Crop, programmes map[store.ProgrammeKey]*programme.Programme, rules *calendar.Rules) error {
	for _, c := range crops {
		crop := rulesCrop(c, programmes[c.Programme])
		dates, err := calendar.Compute(crop, rules)
		if err != nil {
			return err
		}
		s.add(crop, dates)
	}
	return nil
}

func (s *standing) add(crop calendar.Crop, dates calendar.Calendar) {
	if s.in == nil {
		s.in = map[string][]int{}
	}
	i := len(s.crops)
	s.crops, s.calendars = append(s.crops, crop), append(s.calendars, dates)
	for _, o := range dates.Occupancies {
		if at := s.in[o.Facility]; o.Facility != "" && !slices.Contains(at, i) {
			s.in[o.Facility] = append(at, i)
		}
	}
}

// clash is the first day on which a crop would hold a room or facility together
// with another; ok is false where it meets nobody. Crops that clash with each
// other since one came late are not its business.
func (s *standing) clash(crop calendar.Crop, dates calendar.Calendar, rules *calendar.Rules) (c calendar.Conflict, ok bool) {
	var near []int
	for _, o := range dates.Occupancies {
		near = append(near, s.in[o.Facility]...)
	}
	slices.Sort(near)
	near = slices.DeleteFunc(slices.Compact(near), func(i int) bool { return s.crops[i].ID == crop.ID })
	crops := append(each(near, func(i int) calendar.Crop { return s.crops[i] }), crop)
	calendars := append(each(near, func(i int) calendar.Calendar { return s.calendars[i] }), dates)
	for _, c := range calendar.Conflicts(crops, calendars, rules) {
		if c.First == crop.ID || c.Second == crop.ID {
			return c, true
		}
	}
	return calendar.Conflict{}, false
}

// meet refuses a draft that would hold its room or a facility on days on which
// another crop holds it.
func (p *planner) meet(d draft) error {
	if c, ok := p.clash(d.rules, d.calendar, p.rules); ok {
		return takenFault(c, d.dateAt)
	}
	return nil
}
