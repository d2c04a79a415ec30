package server

import (
	"cmp"
	"context"
	"slices"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/proposal"
	"breakshare.example/services/scheduling/internal/store"
)

// GetQuarter returns rooms with their crops, and supply against demand by kind and
// week.
func (s *Server) GetQuarter(ctx context.Context, req *schedulingv1.GetQuarterRequest) (*schedulingv1.GetQuarterResponse, error) {
	farmID, err := visibleFarm(identity.Must(ctx), req.GetFarmId())
	if err != nil {
		return nil, err
	}
	answer := &schedulingv1.GetQuarterResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		span, err := s.span(ctx, tx, req.GetFirstWeek(), req.GetWeeks(), quarterWeeks, 0)
		if err != nil {
			return err
		}
		for w := range span.weeks {
			answer.Weeks = append(answer.Weeks, span.first.Add(7*w).String())
		}
		last := span.end().Add(-1)
		crops, err := store.ListCalendar(ctx, tx, farmID, span.first, last)
		if err != nil {
			return err
		}
		programmes, err := programmesOf(ctx, tx, crops)
		if err != nil {
			return err
		}
		if answer.Rooms, err = quarterRooms(ctx, tx, farmID, crops, programmes); err != nil {
			return err
		}
		if answer.Conflicts, err = conflicts(ctx, tx, crops, span.first, last); err != nil {
			return err
		}
		if answer.Overdue, err = overdueStages(ctx, tx, farmID, span.today); err != nil || farmID != "" {
			return err
		}
		answer.Kinds, err = s.balance(ctx, tx, span, crops, programmes)
		return err
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

// quarterRooms lists the rooms by farm and id with their crops, which stand by room
// and fill date.
func quarterRooms(ctx context.Context, tx pgx.Tx, farmID string, crops []store.Crop, programmes map[store.ProgrammeKey]*programme.Programme) ([]*schedulingv1.QuarterRoom, error) {
	rooms, err := store.ListRooms(ctx, tx, farmID)
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(rooms, func(a, b store.Room) int { return cmp.Compare(a.FarmID, b.FarmID) })
	byRoom := map[string][]*schedulingv1.Crop{}
	for _, c := range crops {
		byRoom[c.RoomID] = append(byRoom[c.RoomID], leanCropMessage(c, programmes[c.Programme]))
	}
	return each(rooms, func(r store.Room) *schedulingv1.QuarterRoom {
		return &schedulingv1.QuarterRoom{RoomId: r.ID, Name: r.Name, FarmId: r.FarmID, Crops: byRoom[r.ID]}
	}), nil
}

// overdueStages lists the steps that should have begun, by expected day and crop.
func overdueStages(ctx context.Context, tx pgx.Tx, farmID string, today calendar.Date) ([]*schedulingv1.OverdueStage, error) {
	crops, err := store.ListWaitingCrops(ctx, tx, farmID, today)
	if err != nil {
		return nil, err
	}
	var out []*schedulingv1.OverdueStage
	for _, c := range crops {
		if late, ok := overdue(c, today); ok {
			out = append(out, &schedulingv1.OverdueStage{
				CropId: c.ID, RoomId: c.RoomID, FarmId: c.FarmID, Kind: stageKinds.enum[late.Kind],
				ExpectedDate: late.Start.String(), Days: int32(today.Sub(late.Start)),
			})
		}
	}
	slices.SortFunc(out, func(a, b *schedulingv1.OverdueStage) int {
		return cmp.Or(cmp.Compare(a.GetExpectedDate(), b.GetExpectedDate()), cmp.Compare(a.GetCropId(), b.GetCropId()))
	})
	return out, nil
}

// balance sets what the crops are expected to bear against what customers are
// expected to want.
func (s *Server) balance(ctx context.Context, tx pgx.Tx, span span, crops []store.Crop, programmes map[store.ProgrammeKey]*programme.Programme) ([]*schedulingv1.KindPlan, error) {
	outlooks, err := s.outlook(ctx, tx, span, "")
	if err != nil {
		return nil, err
	}
	products := each(outlooks, func(o outlook) store.Product { return o.product })
	var grown []*programme.Programme
	for _, p := range programmes {
		grown = append(grown, p)
	}
	all := kinds(products, grown)
	index := make(map[programme.Product]int, len(all))
	supply, wanted := make([][]int64, len(all)), make([]map[calendar.Date]int64, len(all))
	for k, kind := range all {
		index[kind], supply[k], wanted[k] = k, make([]int64, span.weeks), map[calendar.Date]int64{}
	}
	for _, o := range outlooks {
		for _, w := range o.weeks {
			wanted[index[kindOf(o.product)]][w.week] += w.grams
		}
	}
	rules, err := workingRules(ctx, tx)
	if err != nil {
		return nil, err
	}
	for _, c := range crops {
		dates, err := calendar.Compute(rulesCrop(c, programmes[c.Programme]), rules)
		if err != nil {
			return nil, err
		}
		proposal.Weekly(supply, index, span.first, programmes[c.Programme], int64(c.AreaM2), dates)
	}
	var out []*schedulingv1.KindPlan
	for k, kind := range all {
		plan := &schedulingv1.KindPlan{Kind: kindMessage(kind), ProductIds: productIDs(products, kind)}
		for w := range span.weeks {
			week := span.first.Add(7 * w)
			if week < span.current {
				plan.Weeks = append(plan.Weeks, &schedulingv1.KindWeek{Week: week.String(), CommittedGrams: supply[k][w]})
				continue
			}
			plan.Weeks = append(plan.Weeks, kindWeek(week, supply[k][w], 0, wanted[k][week]))
		}
		out = append(out, plan)
	}
	return out, nil
}
