package web

import (
	"strconv"
	"strings"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

const (
	quarterDays = 91
	// dayWidth is how wide a day is drawn, in the lane's own units.
	dayWidth = 10
	// labelDays is how long a step must be for its name to fit.
	labelDays = 7
)

// quarterPage is every room as a lane of its crops, week by week.
type quarterPage struct {
	From, To      string
	Before, After string
	Width         int
	Weeks         []week
	TodayX        int
	Farms         []quarterFarm
	Kinds         []string
	Empty         bool
	Balances      []balance
	Weekly        *table
	Steps, Bare   *table
	Choices       []feedChoice // the farms, where there are several
	Farm          string       // the one that is shown; empty for several
	MoreFarms     int64        // farms beside those shown
	Conflicts     []conflictRow
	Overdue       []overdueRow
	Planned       string // crops just planned; empty where none were
	CalledOff     string
	Moved         string
	Form          *form
	Shift         *form // moves all that is overdue
}

// conflictRow is a room that two crops hold on the same days.
type conflictRow struct {
	Room, First, Second, From, Until string
	Move                             string // the crop to move
	Days                             int64  // later where positive
	To, Etag                         string // its new day of filling; empty where it cannot move
	Form                             *form
}

// overdueRow is a step that should have begun and is not recorded.
type overdueRow struct {
	Farm, Room, Key, Expected string
	Days                      int64
}

// week is the head of a column.
type week struct {
	X    int
	Date string
}

// quarterFarm is a farm with its rooms.
type quarterFarm struct {
	Name  string
	Rooms []lane
}

// lane is one room over the quarter.
type lane struct {
	Name   string
	Bars   []laneBar
	Gap    int // days without a crop
	Filled bool
}

// laneBar is one step of a crop as drawn.
type laneBar struct {
	X, Width    int
	Kind, Key   string
	First, Last string
	Label       bool
}

// mostFarms is how many farms' rooms are drawn at once.
const mostFarms = 8

// showQuarter shows thirteen weeks of all rooms.
func (p *Pages) showQuarter(v *visit, f *form) (view, error) {
	from, err := v.dayOf("from", v.today(0))
	if err != nil {
		return view{}, err
	}
	from = mondayOf(from)
	page := quarterPage{From: from, To: addDays(from, quarterDays-1), Before: addDays(from, -quarterDays), After: addDays(from, quarterDays), Width: quarterDays * dayWidth}
	page.Planned, page.CalledOff, page.Moved = tally(v, "planned"), tally(v, "called_off"), tally(v, "moved")
	page.Form, page.Shift = f, f.For("shift")
	var (
		quarter *schedulingv1.GetQuarterResponse
		n       names
	)
	err = together(v.ctx,
		ask(&quarter, p.scheduling.GetQuarter, &schedulingv1.GetQuarterRequest{FirstWeek: from, Weeks: quarterDays / 7}),
		p.naming(&n, farmNames|productNames),
	)
	if err != nil {
		return view{}, err
	}
	for day := 0; day < quarterDays; day += 7 {
		page.Weeks = append(page.Weeks, week{day * dayWidth, addDays(from, day)})
	}
	if days := daysBetween(from, v.today(0)); days >= 0 && days < quarterDays {
		page.TodayX = days*dayWidth + dayWidth/2
	}
	page.fill(quarter, n, v.r.FormValue("farm"))
	page.list(v)
	page.Balances, page.Weekly = balancesOf(quarter.GetKinds(), n), weeksTable(v, "weeks", v.words.T("quarter.week_by_week"), quarter.GetKinds())
	return view{template: "quarter", title: "quarter.title", data: page}, nil
}

// tally is a count that an address carries, as the page writes it; empty for none.
func tally(v *visit, name string) string {
	n, err := strconv.ParseInt(v.r.URL.Query().Get(name), 10, 32)
	if err != nil || n <= 0 {
		return ""
	}
	return v.words.Count(n)
}

// mondayOf is the Monday of a day's week.
func mondayOf(date string) string {
	// 2024-01-01 was a Monday.
	days := daysBetween("2024-01-01", date) % 7
	if days < 0 {
		days += 7
	}
	return addDays(date, -days)
}

// list says in words what the lanes draw.
func (page *quarterPage) list(v *visit) {
	page.Steps = &table{ID: "steps", Caption: v.words.T("quarter.in_words"), Columns: []column{
		{Key: "word.farm", Name: "farm"}, {Key: "word.room", Name: "room"}, {Key: "rooms.stage", Name: "step"}, {Key: "quarter.first", Name: "first_date"}, {Key: "quarter.last", Name: "last_date"},
	}}
	page.Bare = &table{ID: "empty-days", Caption: v.words.T("quarter.without_crop"), Columns: []column{
		{Key: "word.farm", Name: "farm"}, {Key: "word.room", Name: "room"}, {Key: "quarter.without_crop", Name: "days", Figures: true},
	}}
	for _, f := range page.Farms {
		for _, room := range f.Rooms {
			for _, bar := range room.Bars {
				page.Steps.Rows = append(page.Steps.Rows, []cell{name(f.Name), name(room.Name), v.says(bar.Key), v.date(bar.First), v.date(bar.Last)})
			}
			page.Bare.Rows = append(page.Bare.Rows, []cell{name(f.Name), name(room.Name), v.count(int64(room.Gap))})
		}
	}
	v.table(page.Steps)
	v.table(page.Bare)
}

// fill draws the rooms of one farm, or of the first ones.
func (page *quarterPage) fill(quarter *schedulingv1.GetQuarterResponse, n names, asked string) {
	rooms := quarter.GetRooms()
	names := byID(rooms, (*schedulingv1.QuarterRoom).GetRoomId, (*schedulingv1.QuarterRoom).GetName)
	for _, c := range quarter.GetConflicts() {
		page.Conflicts = append(page.Conflicts, conflictRow{
			Room: nameOf(names, c.GetRoomId()), First: c.GetFirstCropId(), Second: c.GetSecondCropId(), From: c.GetFromDate(), Until: addDays(c.GetUntilDate(), -1),
			Move: c.GetMoveCropId(), Days: int64(c.GetMoveDays()), Form: page.Form.For("move-" + c.GetMoveCropId()),
		})
		row := &page.Conflicts[len(page.Conflicts)-1]
		for _, room := range rooms {
			for _, crop := range room.GetCrops() {
				if crop.GetCropId() == row.Move && crop.GetState() == schedulingv1.CropState_CROP_STATE_PLANNED {
					row.To, row.Etag = addDays(crop.GetFillDate(), int(row.Days)), crop.GetEtag()
				}
			}
		}
	}
	for _, o := range quarter.GetOverdue() {
		page.Overdue = append(page.Overdue, overdueRow{nameOf(n.farms, o.GetFarmId()), nameOf(names, o.GetRoomId()), kindKey(o.GetKind()), o.GetExpectedDate(), int64(o.GetDays())})
	}
	seen := map[string]bool{}
	farms := map[string]int{}
	page.Empty = len(rooms) == 0
	for _, room := range rooms {
		at, ok := farms[room.GetFarmId()]
		if !ok {
			farms[room.GetFarmId()] = -1
			page.Choices = append(page.Choices, feedChoice{room.GetFarmId(), nameOf(n.farms, room.GetFarmId())})
			if asked == room.GetFarmId() {
				page.Farm = asked
			} else if asked != "" || len(page.Farms) == mostFarms {
				continue
			}
			at = len(page.Farms)
			farms[room.GetFarmId()] = at
			page.Farms = append(page.Farms, quarterFarm{Name: nameOf(n.farms, room.GetFarmId())})
		}
		if at < 0 {
			continue
		}
		l := lane{Name: room.GetName()}
		taken := 0
		for _, crop := range room.GetCrops() {
			if crop.GetState() == schedulingv1.CropState_CROP_STATE_ENDED && crop.GetFreeDate() <= page.From {
				continue
			}
			taken += l.draw(crop, page.From, seen)
		}
		l.Gap, l.Filled = quarterDays-taken, taken > 0
		page.Farms[at].Rooms = append(page.Farms[at].Rooms, l)
	}
	if page.Farm == "" {
		page.MoreFarms = int64(len(page.Choices) - len(page.Farms))
	}
	for _, kind := range sortedKeys(schedulingv1.StageKind_name) {
		if key := kindKey(schedulingv1.StageKind(kind)); seen[key] {
			page.Kinds = append(page.Kinds, strings.TrimPrefix(key, "stage."))
		}
	}
}

// draw draws the part of a crop that lies in the quarter, and returns how many days it takes.
func (l *lane) draw(crop *schedulingv1.Crop, from string, seen map[string]bool) int {
	taken := 0
	for _, s := range crop.GetStages() {
		// What happens at the yard, in a tunnel or in another room leaves this one free.
		if place := s.GetPlace(); place != schedulingv1.Place_PLACE_GROWING_ROOM && place != schedulingv1.Place_PLACE_UNSPECIFIED {
			continue
		}
		first, end := max(0, daysBetween(from, s.GetStartDate())), min(quarterDays, daysBetween(from, s.GetEndDate()))
		if first >= end {
			continue
		}
		key := stageKey(s)
		seen[key] = true
		taken += end - first
		l.Bars = append(l.Bars, laneBar{
			X: first * dayWidth, Width: (end - first) * dayWidth, Kind: strings.TrimPrefix(key, "stage."), Key: key,
			First: s.GetStartDate(), Last: addDays(s.GetEndDate(), -1), Label: end-first >= labelDays,
		})
	}
	return taken
}
