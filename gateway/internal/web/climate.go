package web

import (
	"net/url"
	"strconv"
	"strings"
	"time"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

// climatePage is a day of a room: what was measured, with the limits of its crop's step drawn in,
// and the alerts of all rooms of the farm.
type climatePage struct {
	Farm               string
	Room, Name         string
	Day, Before, After string
	Step               string // key of the crop's step; empty where nothing stands there
	Rooms              []roomChoice
	Open, Today        []alertRow // of the farm, and of the room on the day
	Charts             []lotChart
	Cautions           []string
	Done               int64 // readings taken from a file
	Sent               bool
	Form               *form
}

// alertRow is one alert.
type alertRow struct {
	Room, Kind, Limit, Worst, Last string
	Since, Cleared                 string
	Text                           string
}

// showClimate shows a day of one of the farm's rooms.
func (p *Pages) showClimate(v *visit, f *form) (view, error) {
	farm, day, err := p.farmDay(v)
	if err != nil {
		return view{}, err
	}
	rooms, err := p.scheduling.ListRooms(v.ctx, &schedulingv1.ListRoomsRequest{FarmId: farm})
	if err != nil {
		return view{}, err
	}
	page := climatePage{Farm: farm, Day: day, Before: addDays(day, -1), After: addDays(day, 1), Form: f, Room: v.r.FormValue("room"), Sent: v.r.URL.Query().Has("taken")}
	page.Done, _ = strconv.ParseInt(v.r.URL.Query().Get("taken"), 10, 64)
	if page.Room == "" && len(rooms.GetRooms()) > 0 {
		page.Room = rooms.GetRooms()[0].GetRoomId()
	}
	names := byID(rooms.GetRooms(), (*schedulingv1.Room).GetRoomId, (*schedulingv1.Room).GetName)
	for _, r := range rooms.GetRooms() {
		page.Rooms = append(page.Rooms, roomChoice{r.GetRoomId(), r.GetName(), r.GetRoomId() == page.Room})
	}
	if page.Room == "" {
		return view{template: "climate", title: "climate.title", data: page}, nil
	}
	page.Name = nameOf(names, page.Room)
	var (
		trace  *harvestv1.GetClimateTraceResponse
		alerts *harvestv1.ListClimateAlertsResponse
	)
	err = together(v.ctx,
		ask(&trace, p.harvest.GetClimateTrace, &harvestv1.GetClimateTraceRequest{RoomId: page.Room, Date: day}),
		ask(&alerts, p.harvest.ListClimateAlerts, &harvestv1.ListClimateAlertsRequest{FarmId: farm}),
	)
	if err != nil {
		return view{}, err
	}
	page.Step = stepKeyOf(v, trace.GetStep())
	page.Open, page.Today = alertRows(v, alerts.GetAlerts(), names), alertRows(v, trace.GetAlerts(), names)
	page.Charts = climateCharts(v, trace)
	for _, c := range trace.GetCautions() {
		page.Cautions = append(page.Cautions, c.GetText())
	}
	return view{template: "climate", title: "climate.title", data: page}, nil
}

func alertRows(v *visit, list []*harvestv1.ClimateAlert, names map[string]string) []alertRow {
	var out []alertRow
	for _, a := range list {
		kind := climateKinds[a.GetLimit().GetKind()]
		row := alertRow{
			Room: nameOf(names, a.GetRoomId()), Kind: kind.key, Limit: v.limitsOf(a.GetLimit()), Text: a.GetText(),
			Worst: kind.shown(v, a.GetWorstValue()), Last: kind.shown(v, a.GetLastValue()), Since: v.words.Instant(a.GetSince().AsTime(), v.zone),
		}
		if a.GetClearedAt() != nil {
			row.Cleared = v.words.Instant(a.GetClearedAt().AsTime(), v.zone)
		}
		out = append(out, row)
	}
	return out
}

// limitsOf writes a limit with its unit: "90 – 96 %", "≤ 800 ppm".
func (v *visit) limitsOf(l *harvestv1.ClimateLimit) string {
	kind := climateKinds[l.GetKind()]
	switch {
	case l.Least != nil && l.Most != nil:
		return v.words.Tenths(kind.thousandths(v, l.GetLeast())) + " – " + kind.shown(v, l.GetMost())
	case l.Least != nil:
		return "≥ " + kind.shown(v, l.GetLeast())
	case l.Most != nil:
		return "≤ " + kind.shown(v, l.GetMost())
	}
	return ""
}

// climateKind is how a kind of measurement is shown.
type climateKind struct {
	key, unit string // unit is empty for temperatures
	each      int64  // thousandths in one of the contract's units
}

var climateKinds = map[harvestv1.ClimateKind]climateKind{
	harvestv1.ClimateKind_CLIMATE_KIND_AIR_TENTHS_C:     {"reading.air_temperature", "", 100},
	harvestv1.ClimateKind_CLIMATE_KIND_HUMIDITY_PERCENT: {"climate.humidity", "%", 1000},
	harvestv1.ClimateKind_CLIMATE_KIND_CO2_PPM:          {"reading.carbon_dioxide", "ppm", 1000},
	harvestv1.ClimateKind_CLIMATE_KIND_COMPOST_TENTHS_C: {"reading.compost_temperature", "", 100},
}

// thousandths is a value in the units that are shown.
func (k climateKind) thousandths(v *visit, value int64) int64 {
	if k.unit == "" {
		return v.words.Temperature(value * k.each)
	}
	return value * k.each
}

func (k climateKind) unitShown(v *visit) string {
	if k.unit == "" {
		return v.words.DegreeUnit()
	}
	return k.unit
}

func (k climateKind) shown(v *visit, value int64) string {
	return v.words.Tenths(k.thousandths(v, value)) + " " + k.unitShown(v)
}

// uploadClimate takes in a file of readings of rooms; sent again it adds nothing twice.
func (p *Pages) uploadClimate(v *visit) (view, error) {
	rows, err := v.uploaded("file", climateColumns, nil)
	if err != nil {
		return view{}, err
	}
	readings, err := climateReadings(rows)
	if err != nil {
		return view{}, v.wrongFile("file", err)
	}
	var taken int64
	for from := 0; from < len(readings); from += climatePerCall {
		to := min(from+climatePerCall, len(readings))
		res, err := p.harvest.RecordClimate(v.ctx, &harvestv1.RecordClimateRequest{Readings: readings[from:to]})
		if err != nil {
			return view{}, v.placed(err, "file", "readings", rows[from:to])
		}
		taken += int64(res.GetTaken())
	}
	last := readings[len(readings)-1]
	back := url.Values{"room": {last.GetRoomId()}, "day": {last.GetTime().AsTime().In(v.zone).Format(time.DateOnly)}, "taken": {strconv.FormatInt(taken, 10)}}
	return view{goTo: "/climate?" + back.Encode() + farmQuery(v)}, nil
}

// stepKeyOf is the text of a step that a service names in words, such as "spawn run"; empty where
// there is none.
func stepKeyOf(v *visit, step string) string {
	key := "stage." + strings.NewReplacer(" ", "_", "-", "_", "phase II", "phase_two").Replace(step)
	if step == "" || !v.words.Has(key) {
		return ""
	}
	return key
}
