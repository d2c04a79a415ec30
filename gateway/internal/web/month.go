package web

import (
	"context"
	"slices"
	"strings"
	"time"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// monthPage is one month of a farm, a room or a yard, to print and pin to a wall.
type monthPage struct {
	Choices       []roomChoice
	Of, Name      string
	Month         string // "2026-12"
	First         string // its first day
	Before, After string
	Weekdays      []string
	Weeks         [][]monthDay
	Empty         bool
}

// monthDay is one day of the grid; those of the months around have no entries.
type monthDay struct {
	Date    string
	Inside  bool
	Today   bool
	Holiday string
	Entries []monthEntry
}

// monthEntry is a step that begins, the first picking, a room that is free, or a slot.
type monthEntry struct {
	Where, Key string
	Done       bool
	Kg         int64 // of a slot
}

// showMonth lays a month out, Monday to Sunday.
func (p *Pages) showMonth(v *visit, _ *form) (view, error) {
	page := monthPage{Of: v.r.FormValue("of"), Month: v.r.FormValue("month")}
	if page.Month == "" {
		page.Month = v.today(0)[:len("2026-12")]
	}
	first, err := time.Parse("2006-01", page.Month)
	if err != nil || first.Year() < 2000 || first.Year() > 2199 {
		return view{}, fault.InvalidField("month", "%s", v.words.T("month.unread"))
	}
	page.First = first.Format(time.DateOnly)
	page.Before, page.After = first.AddDate(0, -1, 0).Format("2006-01"), first.AddDate(0, 1, 0).Format("2006-01")
	for _, day := range weekdays {
		page.Weekdays = append(page.Weekdays, "weekday."+day)
	}
	var (
		rooms *schedulingv1.ListRoomsResponse
		days  *schedulingv1.WorkingDays
		n     names
	)
	err = together(v.ctx,
		func(ctx context.Context) (err error) {
			if v.who.Role != identity.YardManager {
				rooms, err = p.scheduling.ListRooms(ctx, &schedulingv1.ListRoomsRequest{FarmId: v.who.FarmID})
			}
			return err
		},
		ask(&days, p.scheduling.GetWorkingDays, &schedulingv1.GetWorkingDaysRequest{}),
		p.naming(&n, farmNames|yardNames),
	)
	if err != nil {
		return view{}, err
	}
	page.choose(v, rooms.GetRooms(), n)
	page.grid(v, first, days.GetMarkedDays())
	if err := p.monthEntries(v, &page, rooms.GetRooms()); err != nil {
		return view{}, err
	}
	return view{template: "month", title: "month.title", data: page}, nil
}

// choose offers what the visitor has calendars of, and settles whose month is shown.
func (page *monthPage) choose(v *visit, rooms []*schedulingv1.Room, n names) {
	var offered feedsPage
	offered.choices(v, rooms, n)
	if !slices.ContainsFunc(offered.Choices, func(c feedChoice) bool { return c.Value == page.Of }) {
		page.Of = ""
	}
	for i, c := range offered.Choices {
		chosen := c.Value == page.Of || page.Of == "" && i == 0
		page.Choices = append(page.Choices, roomChoice{c.Value, c.Label, chosen})
		if chosen {
			page.Of, page.Name = c.Value, c.Label
		}
	}
}

// grid makes the days of whole weeks.
func (page *monthPage) grid(v *visit, first time.Time, marked []*schedulingv1.MarkedDay) {
	holidays := map[string]string{}
	for _, d := range marked {
		holidays[d.GetDate()] = d.GetName()
	}
	next := first.AddDate(0, 1, 0).Format(time.DateOnly)
	for monday := mondayOf(page.First); monday < next; monday = addDays(monday, 7) {
		var week []monthDay
		for i := range 7 {
			date := addDays(monday, i)
			week = append(week, monthDay{Date: date, Inside: date >= page.First && date < next, Today: date == v.today(0), Holiday: holidays[date]})
		}
		page.Weeks = append(page.Weeks, week)
	}
}

// monthEntries fills the days in.
func (p *Pages) monthEntries(v *visit, page *monthPage, rooms []*schedulingv1.Room) error {
	kind, target, _ := strings.Cut(page.Of, ":")
	from, to := page.First, addDays(page.First, 31)
	page.Empty = true
	put := func(date string, e monthEntry) {
		for _, week := range page.Weeks {
			for i := range week {
				if week[i].Inside && week[i].Date == date {
					week[i].Entries = append(week[i].Entries, e)
					page.Empty = false
				}
			}
		}
	}
	if kind == "yard" {
		slots, err := p.compostlot.ListSlots(v.ctx, &compostlotv1.ListSlotsRequest{FromDate: from, ToDate: to, YardId: target})
		for _, s := range slots.GetSlots() {
			put(s.GetReadyDate(), monthEntry{Where: s.GetSlotId(), Key: "month.slot", Kg: s.GetCapacityKg()})
		}
		return err
	}
	names := byID(rooms, (*schedulingv1.Room).GetRoomId, (*schedulingv1.Room).GetName)
	farms := byID(rooms, (*schedulingv1.Room).GetRoomId, (*schedulingv1.Room).GetFarmId)
	farm := target
	if kind == "room" {
		farm = farms[target]
	}
	calendar, err := p.scheduling.GetCalendar(v.ctx, &schedulingv1.GetCalendarRequest{FromDate: from, ToDate: to, FarmId: farm})
	if err != nil {
		return err
	}
	for _, crop := range calendar.GetCrops() {
		if crop.GetCalledOff() || kind == "room" && crop.GetRoomId() != target {
			continue
		}
		where := nameOf(names, crop.GetRoomId())
		for _, s := range crop.GetStages() {
			put(s.GetStartDate(), monthEntry{Where: where, Key: kindKey(s.GetKind()), Done: s.ActualStartDate != nil})
		}
		put(crop.GetFreeDate(), monthEntry{Where: where, Key: "month.free", Done: crop.GetState() == schedulingv1.CropState_CROP_STATE_ENDED})
	}
	return nil
}
