// Package members owns what this service knows of the co-op's settings, farms,
// rooms and crops: how scheduling's messages become rows, and how to ask
// scheduling for what has not arrived yet.
//
// The rows come by events, so they may lag behind: a farm saved a moment ago can
// be unknown here. What is unknown is therefore asked of its owner before it is
// refused. The answer is kept as version 0, which any event replaces.
package members

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
)

// Coop is the row of the co-op's settings.
func Coop(c *schedulingv1.Coop, version int64) store.Coop {
	return store.Coop{TimeZone: c.GetTimeZone(), Version: version}
}

// Farm is the row of a farm.
func Farm(f *schedulingv1.Farm, version int64) store.Farm {
	return store.Farm{ID: f.GetFarmId(), MemberShares: f.GetMemberShares(), Version: version}
}

// Room is the row of a room.
func Room(r *schedulingv1.Room, version int64) store.Room {
	return store.Room{ID: r.GetRoomId(), FarmID: r.GetFarmId(), Version: version}
}

// Crop is the row of a crop at a version. It fails for a fill date that is none.
func Crop(c *schedulingv1.Crop, version int64) (store.Crop, error) {
	fill, err := time.Parse(time.DateOnly, c.GetFillDate())
	if err != nil {
		return store.Crop{}, fmt.Errorf("crop %s: fill date: %w", c.GetCropId(), err)
	}
	row := store.Crop{
		ID: c.GetCropId(), RoomID: c.GetRoomId(), FarmID: c.GetFarmId(), FillDate: fill, Version: version,
		Ended: c.GetState() == schedulingv1.CropState_CROP_STATE_ENDED,
	}
	if c.GetCompostGrams() > 0 {
		row.CompostGrams, row.Phase = c.GetCompostGrams(), int16(c.GetCompostPhase())
	}
	return row, nil
}

// Wanted is what a call refers to. Empty ids count as absent.
type Wanted struct {
	Coop         bool
	Farms, Rooms []string
	// Crops by id, each with a day on or near which it occupies its room.
	Crops map[string]time.Time
}

// Directory knows the members.
type Directory struct {
	pool       *pgxpool.Pool
	scheduling schedulingv1.SchedulingServiceClient
}

// NewDirectory returns a directory over the service's pool that asks scheduling for what is
// missing.
func NewDirectory(pool *pgxpool.Pool, scheduling schedulingv1.SchedulingServiceClient) *Directory {
	return &Directory{pool: pool, scheduling: scheduling}
}

// Learn makes sure that what is wanted is known here, if scheduling has it: afterwards what is
// not in the store does not exist. It fails where something is missing and scheduling does not
// answer. It opens transactions of its own, so call it outside of one.
func (d *Directory) Learn(ctx context.Context, w Wanted) error {
	coopID := identity.Must(ctx).CoopID
	var missing Wanted
	err := pg.InReadTx(ctx, d.pool, coopID, func(ctx context.Context, tx pgx.Tx) (err error) {
		missing, err = unknown(ctx, tx, w)
		return err
	})
	if err != nil || !missing.any() {
		return err
	}
	found, err := d.ask(identity.With(ctx, identity.Identity{CoopID: coopID, Role: identity.Service, Name: "compostlot"}), missing)
	if err != nil {
		return err
	}
	return pg.InTx(ctx, d.pool, coopID, found.save)
}

func (w Wanted) any() bool {
	return w.Coop || len(w.Farms) > 0 || len(w.Rooms) > 0 || len(w.Crops) > 0
}

// unknown returns the part of w that the store does not have.
func unknown(ctx context.Context, tx pgx.Tx, w Wanted) (Wanted, error) {
	out := Wanted{Crops: map[string]time.Time{}}
	if w.Coop {
		_, known, err := store.FindCoop(ctx, tx)
		if err != nil {
			return out, err
		}
		out.Coop = !known
	}
	farms, err := store.Farms(ctx, tx, w.Farms)
	if err != nil {
		return out, err
	}
	out.Farms = without(w.Farms, farms)
	rooms, err := store.Rooms(ctx, tx, w.Rooms)
	if err != nil {
		return out, err
	}
	out.Rooms = without(w.Rooms, rooms)
	ids := make([]string, 0, len(w.Crops))
	for id := range w.Crops {
		ids = append(ids, id)
	}
	crops, err := store.Crops(ctx, tx, ids)
	if err != nil {
		return out, err
	}
	for _, id := range without(ids, crops) {
		out.Crops[id] = w.Crops[id]
	}
	return out, nil
}

func without[T any](ids []string, known map[string]T) []string {
	var out []string
	for _, id := range ids {
		if _, ok := known[id]; !ok && id != "" {
			out = append(out, id)
		}
	}
	return out
}

// found is what scheduling answered.
type found struct {
	coop  *store.Coop
	farms []store.Farm
	rooms []store.Room
	crops []store.Crop
}

func (f found) save(ctx context.Context, tx pgx.Tx) error {
	if f.coop != nil {
		if err := store.SaveCoop(ctx, tx, *f.coop); err != nil {
			return err
		}
	}
	if err := store.SaveFarms(ctx, tx, f.farms...); err != nil {
		return err
	}
	if err := store.SaveRooms(ctx, tx, f.rooms...); err != nil {
		return err
	}
	return store.SaveCrops(ctx, tx, f.crops...)
}

// ask asks scheduling for whatever kinds of things are missing.
func (d *Directory) ask(ctx context.Context, missing Wanted) (found, error) {
	var out found
	if missing.Coop {
		coop, err := d.scheduling.GetCoop(ctx, &schedulingv1.GetCoopRequest{})
		switch {
		case err == nil:
			row := Coop(coop, 0)
			out.coop = &row
		case fault.KindOf(fault.FromStatus(err)) != fault.NotFound:
			return out, fmt.Errorf("ask scheduling for the co-op: %w", err)
		}
	}
	if len(missing.Farms) > 0 {
		resp, err := d.scheduling.ListFarms(ctx, &schedulingv1.ListFarmsRequest{})
		if err != nil {
			return out, fmt.Errorf("ask scheduling for farms: %w", err)
		}
		for _, f := range resp.GetFarms() {
			out.farms = append(out.farms, Farm(f, 0))
		}
	}
	if len(missing.Rooms) > 0 {
		resp, err := d.scheduling.ListRooms(ctx, &schedulingv1.ListRoomsRequest{})
		if err != nil {
			return out, fmt.Errorf("ask scheduling for rooms: %w", err)
		}
		for _, r := range resp.GetRooms() {
			out.rooms = append(out.rooms, Room(r, 0))
		}
	}
	var err error
	if len(missing.Crops) > 0 {
		out.crops, err = d.askCrops(ctx, missing.Crops)
	}
	return out, err
}

const (
	margin  = 60 * 24 * time.Hour  // a plan may have moved since the day was written down
	longest = 800 * 24 * time.Hour // the longest span that scheduling shows at once
)

// askCrops asks for the crops that occupy rooms around the days wanted, one span after
// another until the last day is covered.
func (d *Directory) askCrops(ctx context.Context, wanted map[string]time.Time) ([]store.Crop, error) {
	var first, last time.Time
	for _, day := range wanted {
		if first.IsZero() || day.Before(first) {
			first = day
		}
		if day.After(last) {
			last = day
		}
	}
	var out []store.Crop
	for from, end := first.Add(-margin), last.Add(margin); !from.After(end); from = from.Add(longest) {
		to := from.Add(longest)
		if to.After(end) {
			to = end
		}
		resp, err := d.scheduling.GetCalendar(ctx, &schedulingv1.GetCalendarRequest{
			FromDate: from.Format(time.DateOnly), ToDate: to.Format(time.DateOnly),
		})
		if err != nil {
			return nil, fmt.Errorf("ask scheduling for crops: %w", err)
		}
		for _, c := range resp.GetCrops() {
			if _, ok := wanted[c.GetCropId()]; !ok {
				continue
			}
			row, err := Crop(c, 0)
			if err != nil {
				return nil, err
			}
			out = append(out, row)
		}
	}
	return out, nil
}
