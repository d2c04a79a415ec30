package server

import (
	"bytes"
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/icalendar"
	"breakshare.example/services/scheduling/internal/store"
)

const (
	// feedBack is how far back a feed reaches, in days: readers that were off for
	// a quarter still learn what was cancelled.
	feedBack = 92
	// feedRefresh is how often readers are asked to look again.
	feedRefresh = time.Hour
)

// ReadFeed returns the calendar of a feed to whoever holds its secret.
func (s *Server) ReadFeed(ctx context.Context, req *schedulingv1.ReadFeedRequest) (*schedulingv1.Content, error) {
	var feed icalendar.Feed
	var name string
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		f, ok, err := store.FindFeed(ctx, tx, "", hashed(req.GetSecret()))
		if err != nil {
			return err
		}
		if !ok || f.RevokedAt != nil {
			return fault.New(fault.NotFound, "NO_FEED", "there is no calendar at this address; ask the co-op for a new one")
		}
		today, err := s.today(ctx, tx)
		if err != nil {
			return err
		}
		name = f.TargetID
		if f.Kind == "yard" {
			feed, err = yardFeed(ctx, tx, f.TargetID, today.Add(-feedBack))
			return err
		}
		feed, err = cropFeed(ctx, tx, f, today.Add(-feedBack))
		return err
	})
	if err != nil {
		return nil, err
	}
	feed.Refresh = feedRefresh
	var text bytes.Buffer
	if err := feed.Write(&text); err != nil {
		return nil, err
	}
	return &schedulingv1.Content{ContentType: "text/calendar; charset=utf-8", Content: text.Bytes(), FileName: name + ".ics"}, nil
}

// cropFeed is the calendar of a farm's rooms, or of one room.
func cropFeed(ctx context.Context, tx pgx.Tx, f store.Feed, from calendar.Date) (icalendar.Feed, error) {
	rooms, farms, err := named(ctx, tx)
	if err != nil {
		return icalendar.Feed{}, err
	}
	farmID, title := f.TargetID, farms[f.TargetID].Name
	if f.Kind == "room" {
		farmID, title = rooms[f.TargetID].FarmID, farms[rooms[f.TargetID].FarmID].Name+", "+rooms[f.TargetID].Name
	}
	crops, err := store.ListFeedCrops(ctx, tx, farmID, from)
	if err != nil {
		return icalendar.Feed{}, err
	}
	programmes, err := programmesOf(ctx, tx, crops)
	if err != nil {
		return icalendar.Feed{}, err
	}
	rules, err := workingRules(ctx, tx)
	if err != nil {
		return icalendar.Feed{}, err
	}
	out := icalendar.Feed{Name: title}
	for _, c := range crops {
		if f.Kind == "room" && c.RoomID != f.TargetID {
			continue
		}
		asRules := rulesCrop(c, programmes[c.Programme])
		if c.CalledOff {
			asRules.Freed = nil // it keeps the dates of its plan
		}
		dates, err := calendar.Compute(asRules, rules)
		if err != nil {
			return icalendar.Feed{}, err
		}
		label := icalendar.CropLabel{
			Crop: asRules.Programme.Name, Room: farms[c.FarmID].Name + ", " + rooms[c.RoomID].Name, Stamp: c.At, Sequence: int(c.Version - 1),
		}
		for _, e := range icalendar.CropEvents(dates, label, asRules.Programme) {
			e.Cancelled = c.CalledOff
			out.Events = append(out.Events, e)
		}
	}
	return out, nil
}

// named reads rooms and farms by id.
func named(ctx context.Context, tx pgx.Tx) (map[string]store.Room, map[string]store.Farm, error) {
	rooms, err := store.ListRooms(ctx, tx, "")
	if err != nil {
		return nil, nil, err
	}
	farms, err := store.ListFarms(ctx, tx, "")
	if err != nil {
		return nil, nil, err
	}
	byID, farmByID := map[string]store.Room{}, map[string]store.Farm{}
	for _, r := range rooms {
		byID[r.ID] = r
	}
	for _, f := range farms {
		farmByID[f.ID] = f
	}
	return byID, farmByID, nil
}

// yardFeed is the calendar of a yard's batch slots.
func yardFeed(ctx context.Context, tx pgx.Tx, yardID string, from calendar.Date) (icalendar.Feed, error) {
	slots, err := store.ListSlots(ctx, tx, yardID, from)
	if err != nil {
		return icalendar.Feed{}, err
	}
	out := icalendar.Feed{Name: "Yard " + yardID}
	for _, s := range slots {
		out.Events = append(out.Events, icalendar.Event{
			UID: fmt.Sprintf("slot/%s@breakshare.example", s.ID), Stamp: s.ToldAt, Sequence: int(s.Revision),
			First: s.Ready, Until: s.Ready.Add(1), Cancelled: s.Withdrawn,
			Summary:     fmt.Sprintf("Batch slot: %d kg of phase %d compost", s.CapacityKg, s.Phase),
			Description: fmt.Sprintf("Slot %s. %d kg granted so far.", s.ID, s.GrantedKg), Location: "Yard " + yardID,
		})
	}
	return out, nil
}
