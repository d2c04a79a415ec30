package web

import (
	"cmp"
	"net/url"
	"slices"
	"strconv"
	"strings"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
)

const (
	// planAhead is how many days ahead a room's crops are shown where one is planned.
	planAhead = 700
	overSlots = "OVER_THE_YARDS_TONNES"
	roomTaken = "ROOM_TAKEN"
	closedDay = "CLOSED_DAY"
	fromPick  = "first_pick"
)

// planPage is one room with the form that plans its next crop.
type planPage struct {
	Back    navItem
	More    string // the farm that an office looks at, in an address with other fields
	Rooms   []roomChoice
	Room    *schedulingv1.Room // nil until one is chosen
	System  string             // key of the room's growing system
	Held    []*schedulingv1.Crop
	Done    *schedulingv1.Crop // just planned; nil for none
	Steps   *table             // its steps
	Choices []programmeChoice
	Plan    *form
	Date    input
	Pick    bool // the date is that of the first pick
	Refused *planRefused
}

// programmeChoice is a programme that suits the room.
type programmeChoice struct {
	ID, Name string
	Version  int64
	Chosen   bool
}

// planRefused is why a plan cannot stand, as far as the page can tell more than the service's
// sentence.
type planRefused struct {
	Over           bool
	Week           string
	Need, Capacity int64 // kg
	First, Second  string
	From, Until    string
	Move           string
	Days           int64
	Open           []string // open days nearest to a closed one
}

// planRefusedOf reads what a fault carries beside its sentence; nil where it is nothing that
// the page knows.
func planRefusedOf(f *fault.Error) *planRefused {
	whole := func(key string) int64 {
		n, _ := strconv.ParseInt(f.Meta[key], 10, 64) // what is no number is shown as 0
		return n
	}
	switch f.Reason {
	case overSlots:
		return &planRefused{Over: true, Week: f.Meta["week"], Need: whole("needKg"), Capacity: whole("capacityKg")}
	case roomTaken:
		return &planRefused{
			First: f.Meta["firstCropId"], Second: f.Meta["secondCropId"], From: f.Meta["fromDate"], Until: addDays(f.Meta["untilDate"], -1),
			Move: f.Meta["moveCropId"], Days: whole("moveDays"),
		}
	case closedDay:
		r := &planRefused{}
		for _, key := range []string{"before", "after"} {
			if day := f.Meta[key]; day != "" {
				r.Open = append(r.Open, day)
			}
		}
		return r
	}
	return nil
}

// showPlan shows the form that plans one crop.
func (p *Pages) showPlan(v *visit, f *form) (view, error) { return p.planWith(v, f, nil) }

func (p *Pages) planWith(v *visit, f *form, refused *planRefused) (view, error) {
	farm := v.who.FarmID
	page := planPage{Plan: f, More: farmQuery(v), Back: backFrom(v), Refused: refused}
	if page.More != "" {
		farm = v.r.FormValue("farm")
		page.Back = navItem{Path: "/rooms" + strings.Replace(page.More, "&", "?", 1), Key: "rooms.title"}
	}
	var (
		rooms      *schedulingv1.ListRoomsResponse
		crops      *schedulingv1.GetCalendarResponse
		programmes *schedulingv1.ListProgrammesResponse
		n          names
	)
	err := together(v.ctx,
		ask(&rooms, p.scheduling.ListRooms, &schedulingv1.ListRoomsRequest{FarmId: farm}),
		ask(&crops, p.scheduling.GetCalendar, &schedulingv1.GetCalendarRequest{FromDate: v.today(0), ToDate: v.today(planAhead), FarmId: farm}),
		ask(&programmes, p.scheduling.ListProgrammes, &schedulingv1.ListProgrammesRequest{}),
		p.naming(&n, farmNames),
	)
	if err != nil {
		return view{}, err
	}
	for _, room := range rooms.GetRooms() {
		chosen := room.GetRoomId() == v.r.FormValue("room")
		choice := roomChoice{Value: room.GetRoomId(), Label: room.GetName(), Chosen: chosen}
		if farm == "" {
			choice.Label = nameOf(n.farms, room.GetFarmId()) + ", " + choice.Label
		}
		page.Rooms = append(page.Rooms, choice)
		if chosen {
			page.room(v, room, crops.GetCrops(), programmes.GetProgrammes())
		}
	}
	return view{template: "plancrop", title: "plan.title", data: page}, nil
}

// room fills in all that depends on the chosen room.
func (page *planPage) room(v *visit, room *schedulingv1.Room, crops []*schedulingv1.Crop, programmes []*schedulingv1.Programme) {
	page.Room, page.System = room, systemKey(room.GetGrowingSystem())
	for _, c := range crops {
		if c.GetRoomId() != room.GetRoomId() || c.GetCalledOff() {
			continue
		}
		page.Held = append(page.Held, c)
		if c.GetCropId() == v.r.URL.Query().Get("done") {
			page.Done, page.Steps = c, stepsOf(v, c)
		}
	}
	slices.SortStableFunc(page.Held, func(a, b *schedulingv1.Crop) int { return cmp.Compare(a.GetFillDate(), b.GetFillDate()) })
	free := v.today(0)
	if n := len(page.Held); n > 0 {
		free = max(free, page.Held[n-1].GetFreeDate())
	}
	for _, one := range programmes {
		if one.GetGrowingSystem() == room.GetGrowingSystem() {
			page.Choices = append(page.Choices, programmeChoice{
				ID: one.GetProgrammeId(), Name: one.GetName(), Version: int64(one.GetVersion()), Chosen: one.GetProgrammeId() == page.Plan.Value("programme", ""),
			})
		}
	}
	page.Date = newInput(page.Plan, "plan", "date", "date", v.words.T("plan.date"), free, "")
	page.Pick = page.Plan.Value("which", "") == fromPick
}

// stepsOf are the steps of a crop with their days.
func stepsOf(v *visit, c *schedulingv1.Crop) *table {
	t := &table{ID: "steps", Caption: c.GetCropId(), Columns: []column{
		{Key: "plan.step", Name: "stage"}, {Key: "plan.first", Name: "first_day"}, {Key: "plan.until", Name: "last_day"},
	}}
	for _, s := range c.GetStages() {
		// A step of a day's work ends on the day it begins.
		last := max(s.GetStartDate(), addDays(s.GetEndDate(), -1))
		t.Rows = append(t.Rows, []cell{v.says(stageKey(s)), v.date(s.GetStartDate()), v.date(last)})
	}
	return v.table(t)
}

// systemKey is the key of a growing system's name.
func systemKey(s typev1.GrowingSystem) string {
	return "system." + strings.ToLower(strings.TrimPrefix(s.String(), "GROWING_SYSTEM_"))
}

// planCrop plans one crop; refused, the page tells what stands in its way.
func (p *Pages) planCrop(v *visit) (view, error) {
	crop, err := p.askPlan(v)
	if err == nil {
		return view{goTo: "/plan?room=" + url.QueryEscape(crop.GetRoomId()) + "&done=" + url.QueryEscape(crop.GetCropId()) + farmQuery(v)}, nil
	}
	return again(v, err, func(v *visit, f *form) (view, error) {
		return p.planWith(v, f, planRefusedOf(fault.From(err)))
	}, planField)
}

func (p *Pages) askPlan(v *visit) (*schedulingv1.Crop, error) {
	plan := &schedulingv1.CropPlan{RoomId: v.r.PostFormValue("room"), ProgrammeId: v.r.PostFormValue("programme")}
	if plan.GetProgrammeId() == "" {
		return nil, fault.InvalidField("programme", "%s", v.words.T("plan.choose_programme"))
	}
	date := v.r.PostFormValue("date")
	if date == "" {
		return nil, fault.InvalidField("date", "%s", v.words.T("plan.no_date"))
	}
	if _, err := v.dayOf("date", ""); err != nil {
		return nil, err
	}
	plan.From = &schedulingv1.CropPlan_FillDate{FillDate: date}
	if v.r.PostFormValue("which") == fromPick {
		plan.From = &schedulingv1.CropPlan_FirstPickDate{FirstPickDate: date}
	}
	return p.scheduling.PlanCrop(v.ctx, &schedulingv1.PlanCropRequest{
		RequestId: v.r.PostFormValue("request_id"), Plan: plan, BeyondSlots: v.r.PostFormValue("beyond_slots") != "",
	})
}

// planField is the form's field of a field of the message.
func planField(path string) string {
	switch last := afterDot(path); last {
	case "fill_date", "first_pick_date":
		return "date"
	case "programme_id":
		return "programme"
	case "date", "programme":
		return last
	}
	return ""
}
