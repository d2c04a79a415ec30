package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/climate"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
)

// RecordClimate adds readings of rooms and checks them.
func (s *Server) RecordClimate(ctx context.Context, req *harvestv1.RecordClimateRequest) (*harvestv1.RecordClimateResponse, error) {
	taken, alerts, err := s.takeClimate(ctx, req.GetReadings())
	if err != nil {
		return nil, err
	}
	return &harvestv1.RecordClimateResponse{Taken: int32(taken), Alerts: alerts}, nil
}

// StreamClimate is RecordClimate for an instrument that sends on and on.
func (s *Server) StreamClimate(stream grpc.ClientStreamingServer[harvestv1.StreamClimateRequest, harvestv1.StreamClimateResponse]) error {
	resp := &harvestv1.StreamClimateResponse{}
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return stream.SendAndClose(resp)
		}
		if err != nil {
			return err
		}
		taken, alerts, err := s.takeClimate(stream.Context(), m.GetReadings())
		if err != nil {
			return err
		}
		resp.Taken += taken
		resp.Alerts += int32(len(alerts))
	}
}

// takeClimate writes readings and checks them, in one transaction.
func (s *Server) takeClimate(ctx context.Context, in []*harvestv1.ClimateReading) (taken int64, alerts []*harvestv1.ClimateAlert, err error) {
	list := make([]store.ClimateReading, len(in))
	latest := s.clock.Now().Add(clockSlack)
	rooms := map[string]bool{}
	for i, r := range in {
		list[i] = store.ClimateReading{RoomID: r.GetRoomId(), Kind: climate.Kind(r.GetKind()), Time: r.GetTime().AsTime().Truncate(time.Microsecond), Value: int64(r.GetValue())}
		if least, most := list[i].Kind.Bounds(); list[i].Value < least || list[i].Value > most {
			return 0, nil, fault.InvalidField(fmt.Sprintf("readings[%d].value", i), "%s of %d cannot be: give %d to %d in the unit of its kind", list[i].Kind, list[i].Value, least, most)
		}
		if list[i].Time.After(latest) {
			return 0, nil, fault.InvalidField(fmt.Sprintf("readings[%d].time", i), "%s lies ahead: set the clock of the instrument", list[i].Time.Format(time.RFC3339))
		}
		rooms[r.GetRoomId()] = true
	}
	ids := slices.Sorted(maps.Keys(rooms))
	if err := s.learnLimits(ctx, ids); err != nil {
		return 0, nil, err
	}
	err = pg.InTx(ctx, s.pool, identity.Must(ctx).CoopID, func(ctx context.Context, tx pgx.Tx) error {
		taken, alerts = 0, nil
		known, err := climateRooms(ctx, tx, in, ids)
		if err != nil {
			return err
		}
		if err := store.LockClimate(ctx, tx, ids); err != nil {
			return err
		}
		checked, err := store.Checked(ctx, tx, ids)
		if err != nil {
			return err
		}
		if taken, err = store.AddClimate(ctx, tx, list, checked); err != nil {
			return err
		}
		alerts, err = s.checkClimate(ctx, tx, list, known, checked)
		return err
	})
	return taken, alerts, err
}

// climateRooms are the rooms of the readings, all of which the caller may write
// of.
func climateRooms(ctx context.Context, tx pgx.Tx, in []*harvestv1.ClimateReading, ids []string) (map[string]store.Room, error) {
	known, err := store.Rooms(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	for i, r := range in {
		room, ok := known[r.GetRoomId()]
		if !ok {
			return nil, fault.InvalidField(fmt.Sprintf("readings[%d].room_id", i), "harvest knows no room %s: take an id from the list of rooms", r.GetRoomId())
		}
		if err := checkFarm(ctx, "room "+room.ID, room.FarmID); err != nil {
			return nil, err
		}
	}
	return known, nil
}

// limitsAsked remembers when scheduling was last asked for the limits of a
// co-op's programmes, so that one that nobody can name is not asked for with
// every reading.
type limitsAsked struct {
	mu   sync.Mutex
	when map[string]time.Time
}

// askAgain is after how long scheduling is asked again.
const askAgain = 10 * time.Minute

// due reports whether to ask now, and takes it as asked.
func (l *limitsAsked) due(coop string, now time.Time) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if last, ok := l.when[coop]; ok && now.Sub(last) < askAgain {
		return false
	}
	if l.when == nil {
		l.when = map[string]time.Time{}
	}
	l.when[coop] = now
	return true
}

// learnLimits asks scheduling for the limits of programmes by which crops in the
// rooms are grown, where they are not known. Where it does not answer, readings
// are taken all the same and checked against what is known.
func (s *Server) learnLimits(ctx context.Context, rooms []string) error {
	missing := false
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		crops, err := store.CropsOfRooms(ctx, tx, rooms)
		if err != nil {
			return err
		}
		all, err := store.AllLimits(ctx, tx)
		if err != nil {
			return err
		}
		for _, c := range crops {
			if _, exact := limitsOf(all, c); c.ProgrammeID != "" && !c.Ended && !exact {
				missing = true
			}
		}
		return nil
	})
	coop := identity.Must(ctx).CoopID
	if err != nil || !missing || !s.asked.due(coop, s.clock.Now()) {
		return err
	}
	told, err := s.owners.limits(ctx)
	if err != nil {
		return nil // no reading is lost because scheduling is away; it is asked again later
	}
	return pg.InTx(ctx, s.pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		for _, l := range told {
			if err := store.SaveLimits(ctx, tx, l); err != nil {
				return err
			}
		}
		return nil
	})
}

// limitsOf are the limits of the programme of a crop: of its version, or where
// that is not known, of the newest one that is.
func limitsOf(all []store.Limits, c store.Crop) (steps store.StepLimits, exact bool) {
	for _, l := range all { // by version
		if l.ProgrammeID != c.ProgrammeID {
			continue
		}
		steps = l.Steps
		if l.Version == c.ProgrammeVersion {
			return steps, true
		}
	}
	return steps, false
}
