package server

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/climate"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/outbox"
)

// settings tells what holds in rooms on a day.
type settings struct {
	book   *genealogy.Book
	crops  map[string]store.Crop
	limits []store.Limits
	zone   *time.Location
	days   map[roomDay]standing // of what was asked before
}

type roomDay struct {
	room string
	on   day.Date
}

// standing is a crop and its step, with the limits that hold in it.
type standing struct {
	crop, step string
	limits     map[climate.Kind]climate.Limit
}

func (s *Server) settings(ctx context.Context, tx pgx.Tx, rooms []string) (*settings, calendar, error) {
	cal, err := s.calendar(ctx, tx)
	if err != nil {
		return nil, cal, err
	}
	out := &settings{zone: cal.now.Location(), days: map[roomDay]standing{}}
	if out.book, err = store.Book(ctx, tx, rooms); err != nil {
		return nil, cal, err
	}
	if out.crops, err = store.CropsOfRooms(ctx, tx, rooms); err != nil {
		return nil, cal, err
	}
	out.limits, err = store.AllLimits(ctx, tx)
	return out, cal, err
}

// on is what holds in a room on a day.
func (s *settings) on(room string, on day.Date) standing {
	key := roomDay{room, on}
	if p, ok := s.days[key]; ok {
		return p
	}
	var p standing
	if stands, ok := s.book.CropOn(room, on); ok {
		crop := s.crops[stands.ID]
		step := crop.Growing().StepOn(on)
		steps, _ := limitsOf(s.limits, crop)
		p = standing{crop.ID, string(step), steps[step]}
	}
	s.days[key] = p
	return p
}

// at is what holds for a kind in a room at a moment.
func (s *settings) at(room string, kind climate.Kind) func(time.Time) climate.Setting {
	return func(t time.Time) climate.Setting {
		p := s.on(room, day.Of(t.In(s.zone)))
		return climate.Setting{CropID: p.crop, Step: p.step, Limit: p.limits[kind]}
	}
}

// checkClimate checks new readings, keeps the alerts that changed, and tells of
// those raised or cleared.
func (s *Server) checkClimate(ctx context.Context, tx pgx.Tx, list []store.ClimateReading, rooms map[string]store.Room, checked map[store.Sensor]time.Time) ([]*harvestv1.ClimateAlert, error) {
	ids := slices.Sorted(maps.Keys(rooms))
	setting, _, err := s.settings(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	open, err := store.OpenAlerts(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	readings := map[store.Sensor][]climate.Reading{}
	latest := map[store.Sensor]time.Time{}
	for _, r := range list {
		k := store.Sensor{RoomID: r.RoomID, Kind: r.Kind}
		readings[k] = append(readings[k], climate.Reading{Time: r.Time, Value: r.Value})
		if r.Time.After(latest[k]) {
			latest[k] = r.Time
		}
	}
	sensors := slices.SortedFunc(maps.Keys(readings), func(a, b store.Sensor) int {
		return cmp.Or(cmp.Compare(a.RoomID, b.RoomID), cmp.Compare(a.Kind, b.Kind))
	})
	until := make([]time.Time, len(sensors))
	var out []*harvestv1.ClimateAlert
	for i, k := range sensors {
		until[i] = latest[k]
		var before *climate.Alert
		if a, ok := open[k]; ok {
			before = &a.Alert
		}
		for _, a := range climate.Check(before, checked[k], readings[k], setting.at(k.RoomID, k.Kind)) {
			m, err := keepAlert(ctx, tx, store.Alert{Alert: a, RoomID: k.RoomID, FarmID: rooms[k.RoomID].FarmID, Kind: k.Kind})
			if err != nil {
				return nil, err
			}
			if m != nil {
				out = append(out, m)
			}
		}
	}
	return out, store.SaveChecked(ctx, tx, sensors, until)
}

// keepAlert writes an alert; one that was raised or has cleared is told of and
// returned.
func keepAlert(ctx context.Context, tx pgx.Tx, a store.Alert) (*harvestv1.ClimateAlert, error) {
	raised := a.ID == ""
	if raised {
		a.ID = ids.New()
	}
	if err := store.SaveAlert(ctx, tx, a); err != nil || (!raised && a.Cleared == nil) {
		return nil, err
	}
	m := alertMessage(a)
	return m, outbox.Add(ctx, tx, outbox.Event{Thing: "climate", What: "alerted", Aggregate: a.RoomID, Payload: &harvestv1.ClimateAlerted{Alert: m}})
}

// ListClimateAlerts lists alerts.
func (s *Server) ListClimateAlerts(ctx context.Context, req *harvestv1.ListClimateAlertsRequest) (*harvestv1.ListClimateAlertsResponse, error) {
	farm, err := listedFarm(ctx, req.GetFarmId())
	if err != nil {
		return nil, err
	}
	resp := &harvestv1.ListClimateAlertsResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		list, err := store.Alerts(ctx, tx, farm, "", req.GetClearedToo(), time.Time{}, time.Time{})
		for _, a := range list {
			resp.Alerts = append(resp.Alerts, alertMessage(a))
		}
		return err
	})
	return resp, err
}

// GetClimateTrace returns a day of a room.
func (s *Server) GetClimateTrace(ctx context.Context, req *harvestv1.GetClimateTraceRequest) (*harvestv1.GetClimateTraceResponse, error) {
	resp := &harvestv1.GetClimateTraceResponse{Cautions: cautions()}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		id := req.GetRoomId()
		rooms, err := store.Rooms(ctx, tx, []string{id})
		if err != nil {
			return err
		}
		room, ok := rooms[id]
		if !ok {
			return fault.New(fault.NotFound, "NO_ROOM", "harvest knows no room %s: take an id from the list of rooms", id)
		}
		if err := checkFarm(ctx, "room "+id, room.FarmID); err != nil {
			return err
		}
		setting, cal, err := s.settings(ctx, tx, []string{id})
		if err != nil {
			return err
		}
		on, err := dayOr(req.GetDate(), "date", cal.today())
		if err != nil {
			return err
		}
		p := setting.on(id, on)
		resp.Date, resp.CropId, resp.Step = on.String(), p.crop, p.step
		for _, k := range climate.Kinds {
			if l, ok := p.limits[k]; ok {
				resp.Limits = append(resp.Limits, limitMessage(k, l))
			}
		}
		from, until := cal.midnight(on), cal.midnight(on.Add(1))
		readings, err := store.ClimateOfRoom(ctx, tx, id, from, until)
		if err != nil {
			return err
		}
		for _, r := range readings {
			resp.Readings = append(resp.Readings, &harvestv1.ClimateReading{
				RoomId: r.RoomID, Kind: harvestv1.ClimateKind(r.Kind), Time: timestamppb.New(r.Time), Value: int32(r.Value),
			})
		}
		alerts, err := store.Alerts(ctx, tx, "", id, true, from, until)
		for _, a := range alerts {
			resp.Alerts = append(resp.Alerts, alertMessage(a))
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return resp, nil
}

// midnight is when a day begins in the co-op's zone.
func (c calendar) midnight(on day.Date) time.Time {
	y, m, d := on.Time().Date()
	return time.Date(y, m, d, 0, 0, 0, 0, c.now.Location())
}

func limitMessage(k climate.Kind, l climate.Limit) *harvestv1.ClimateLimit {
	return &harvestv1.ClimateLimit{Kind: harvestv1.ClimateKind(k), Least: l.Least, Most: l.Most}
}

func alertMessage(a store.Alert) *harvestv1.ClimateAlert {
	m := &harvestv1.ClimateAlert{
		AlertId: a.ID, RoomId: a.RoomID, FarmId: a.FarmID, CropId: a.Setting.CropID, Step: a.Setting.Step,
		Limit: limitMessage(a.Kind, a.Setting.Limit), Since: timestamppb.New(a.Since), Last: timestamppb.New(a.Last),
		LastValue: a.LastValue, WorstValue: a.Worst, Text: climate.Text(a.Kind, a.Alert),
	}
	if a.Cleared != nil {
		m.ClearedAt = timestamppb.New(*a.Cleared)
	}
	return m
}
