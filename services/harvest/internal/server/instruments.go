package server

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/harvest/internal/climate"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/intake"
)

// climateWords are the kinds of measurements as topics name them, with the parts of the unit
// in which they are kept: values come in °C, per cent and ppm.
var climateWords = map[string]struct {
	kind  climate.Kind
	parts int64
}{
	"air_temperature":     {climate.Air, 10},
	"humidity":            {climate.Humidity, 1},
	"carbon_dioxide":      {climate.CO2, 1},
	"compost_temperature": {climate.Compost, 10},
}

// TakeReadings stores and checks what instruments published about rooms, topic by topic
// readings/<co-op>/harvest/<farm>/<room>/<kind>.
func (s *Server) TakeReadings(ctx context.Context, list []intake.Message) (refused []intake.Refusal, err error) {
	var rooms []string
	for _, m := range list {
		if len(m.Topic.Names) == 1 {
			rooms = append(rooms, m.Topic.Names[0])
		}
	}
	var known map[string]store.Room
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) (err error) {
		known, err = store.Rooms(ctx, tx, rooms)
		return err
	})
	if err != nil {
		return nil, err
	}
	latest := s.clock.Now().Add(clockSlack)
	var readings []*harvestv1.ClimateReading
	for _, m := range list {
		of, err := climateOf(m, known, latest)
		if err != nil {
			refused = append(refused, intake.Refusal{Message: m, Reason: err.Error()})
			continue
		}
		readings = append(readings, of...)
	}
	if len(readings) > 0 {
		if _, _, err := s.takeClimate(ctx, readings); err != nil {
			return nil, err
		}
	}
	return refused, nil
}

// climateOf are the readings of a message, all of them or none.
func climateOf(m intake.Message, known map[string]store.Room, latest time.Time) ([]*harvestv1.ClimateReading, error) {
	if len(m.Topic.Names) != 1 {
		return nil, fmt.Errorf("topic %s does not name a room: publish to readings/<co-op>/harvest/<farm>/<room>/<kind>", m.Path)
	}
	room, ok := known[m.Topic.Names[0]]
	if !ok || room.FarmID != m.Topic.Place {
		return nil, fmt.Errorf("farm %s has no room %s: correct the topic", m.Topic.Place, m.Topic.Names[0])
	}
	word, ok := climateWords[m.Topic.Kind]
	if !ok {
		return nil, fmt.Errorf("%s is not measured in rooms: take one of %v", m.Topic.Kind, slices.Sorted(maps.Keys(climateWords)))
	}
	out := make([]*harvestv1.ClimateReading, len(m.Values))
	for i, v := range m.Values {
		value, err := v.Scaled(word.parts)
		if err != nil {
			return nil, err
		}
		if least, most := word.kind.Bounds(); value < least || value > most {
			return nil, fmt.Errorf("%s of %s cannot be: correct the instrument", word.kind, v.Text)
		}
		if v.Time.Year() < firstYear || v.Time.After(latest) {
			return nil, fmt.Errorf("time %s cannot be: set the clock of the instrument", v.Time.Format(time.RFC3339))
		}
		out[i] = &harvestv1.ClimateReading{RoomId: room.ID, Kind: harvestv1.ClimateKind(word.kind), Time: timestamppb.New(v.Time), Value: int32(value)}
	}
	return out, nil
}

// firstYear is the year before which no instrument read anything.
const firstYear = 1970

// ListRefusedReadings lists what instruments published and could not be used.
func (s *Server) ListRefusedReadings(ctx context.Context, req *harvestv1.ListRefusedReadingsRequest) (*harvestv1.ListRefusedReadingsResponse, error) {
	farm, err := listedFarm(ctx, req.GetFarmId())
	if err != nil {
		return nil, err
	}
	resp := &harvestv1.ListRefusedReadingsResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		list, err := intake.ListRefused(ctx, tx, farm)
		for _, r := range list {
			resp.Refused = append(resp.Refused, &typev1.RefusedReading{Topic: r.Topic, Payload: r.Payload, Reason: r.Reason, ReceivedAt: timestamppb.New(r.ReceivedAt)})
		}
		return err
	})
	return resp, err
}
