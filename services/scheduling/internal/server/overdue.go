package server

import (
	"context"
	"maps"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// today is the date in the co-op's time zone; in UTC before its settings are
// saved.
func (s *Server) today(ctx context.Context, db pg.DB) (calendar.Date, error) {
	coop, _, err := store.GetCoop(ctx, db)
	if err != nil {
		return 0, err
	}
	zone, err := time.LoadLocation(coop.TimeZone)
	if err != nil {
		return 0, err
	}
	return calendar.DateOf(s.clock.Now().In(zone)), nil
}

// overdue is the step that the crop waits for and that should have begun before
// today. A crop whose last step runs, and one that has ended, waits for nothing.
func overdue(c store.Crop, today calendar.Date) (late store.Stage, ok bool) {
	next := calendar.Awaited(len(c.Stages),
		func(i int) programme.StageKind { return c.Stages[i].Kind }, func(i int) bool { return c.Stages[i].Actual != nil })
	if c.State == store.Ended || next == len(c.Stages) || c.Stages[next].Start >= today {
		return store.Stage{}, false
	}
	return c.Stages[next], true
}

// shiftLate lets the overdue step of each crop begin today at the earliest, and
// the planned crops that would meet them wait. It returns the crops that moved, by
// id; each is told of once, with all its dates.
func (s *Server) shiftLate(ctx context.Context, tx pgx.Tx, ids []string, today calendar.Date) ([]*schedulingv1.Crop, error) {
	crops, err := s.openCrops(ctx, tx, ids, single("farm_id"))
	if err != nil {
		return nil, err
	}
	rules, err := workingRules(ctx, tx)
	if err != nil {
		return nil, err
	}
	var changed []store.Crop
	for _, id := range slices.Sorted(maps.Keys(crops)) {
		changed = append(changed, crops[id].Crop)
	}
	moved, err := s.wait(ctx, tx, changed, rules, func(c *store.Crop) {
		if _, late := overdue(*c, today); late && crops[c.ID] != nil {
			c.NotBefore = &today
		}
	})
	return each(moved, func(c *open) *schedulingv1.Crop { return c.lean() }), err
}
