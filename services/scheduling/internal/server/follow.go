package server

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/saving"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/store"
)

// follow lets planned crops wait for those that were just changed.
func (s *Server) follow(ctx context.Context, tx pgx.Tx, changed []store.Crop, rules *calendar.Rules) error {
	_, err := s.wait(ctx, tx, changed, rules, func(*store.Crop) {})
	return err
}

// wait holds crops up as the caller says, and lets planned crops wait for them and
// for those that were just changed: a crop that would now meet another in its room
// or a facility moves later. Each crop that moves is told of once, with all its
// dates; they are returned by id. Where crops pass through facilities, a wait in
// one can run on into any room, so all that stand are looked at; else only the
// rooms of the changed ones. A crop never comes earlier by itself: to draw it
// forward again is a person's decision.
func (s *Server) wait(ctx context.Context, tx pgx.Tx, changed []store.Crop, rules *calendar.Rules, hold func(*store.Crop)) ([]*open, error) {
	crops, err := within(ctx, tx, changed)
	if err != nil {
		return nil, err
	}
	programmes, err := programmesOf(ctx, tx, crops)
	if err != nil {
		return nil, err
	}
	at := make(map[string]int, len(crops))
	for i := range crops {
		at[crops[i].ID] = i
		hold(&crops[i])
	}
	asRules := each(crops, func(c store.Crop) calendar.Crop { return rulesCrop(c, programmes[c.Programme]) })
	moves, _, err := calendar.Follow(asRules, rules)
	if err != nil {
		return nil, err
	}
	for _, m := range moves {
		c := &crops[at[m.Crop]]
		until := c.PlannedFill
		if c.NotBefore != nil {
			until = max(until, *c.NotBefore)
		}
		until = until.Add(m.Days)
		c.NotBefore = &until
	}
	slices.SortFunc(crops, func(a, b store.Crop) int { return strings.Compare(a.ID, b.ID) })
	var moved []*open
	for _, c := range crops {
		o := &open{grown: grown{c, programmes[c.Programme]}, read: c.Version}
		told, err := s.shift(ctx, tx, o, rules)
		if err != nil {
			return nil, err
		}
		if told {
			moved = append(moved, o)
		}
	}
	return moved, nil
}

// within loads the crops among which a change can make others wait.
func within(ctx context.Context, tx pgx.Tx, changed []store.Crop) ([]store.Crop, error) {
	if len(changed) == 0 {
		return nil, nil
	}
	first := slices.MinFunc(changed, func(a, b store.Crop) int { return a.Fill.Sub(b.Fill) }).Fill
	if slices.ContainsFunc(changed, func(c store.Crop) bool { return len(c.Facilities) > 0 }) {
		return store.ListStandingCrops(ctx, tx, "", first)
	}
	return store.ListRoomCrops(ctx, tx, each(changed, func(c store.Crop) string { return c.RoomID }), first)
}

// shift computes the dates of a crop anew after something that is no step of its
// own, writes it and tells that it moved. A crop whose steps all keep their days is left alone.
func (s *Server) shift(ctx context.Context, tx pgx.Tx, c *open, rules *calendar.Rules) (told bool, err error) {
	dates, err := calendar.Compute(rulesCrop(c.Crop, c.programme), rules)
	if err != nil {
		return false, fmt.Errorf("dates of crop %q: %w", c.ID, err)
	}
	stages, free := c.Stages, c.Free
	lay(&c.Crop, dates)
	if c.Free == free && slices.EqualFunc(stages, c.Stages, func(a, b store.Stage) bool { return a.Start == b.Start }) {
		return false, nil
	}
	c.Change = s.change(ctx, c.Version+1)
	if ok, err := store.PutCrop(ctx, tx, identity.Must(ctx).CoopID, c.read, c.Crop); err != nil {
		return false, err
	} else if !ok {
		return false, saving.Raced(fmt.Sprintf("crop %q", c.ID))
	}
	return true, tell(ctx, tx, "crop", "moved", c.ID, &schedulingv1.CropMoved{Crop: cropMessage(c.Crop, c.programme)})
}
