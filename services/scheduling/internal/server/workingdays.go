package server

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/store"
)

// SaveWorkingDays creates or changes the co-op's working days and holidays.
func (s *Server) SaveWorkingDays(ctx context.Context, req *schedulingv1.SaveWorkingDaysRequest) (*schedulingv1.WorkingDays, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.WorkingDays{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.WorkingDays, error) {
		return s.saveWorkingDays(ctx, tx, req.GetWorkingDays())
	})
}

// GetWorkingDays returns the working days and holidays; empty before the first
// save.
func (s *Server) GetWorkingDays(ctx context.Context, _ *schedulingv1.GetWorkingDaysRequest) (*schedulingv1.WorkingDays, error) {
	answer := &schedulingv1.WorkingDays{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		w, ok, err := store.GetWorkingDays(ctx, tx)
		if ok {
			answer = workingDaysMessage(w)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

func (s *Server) saveWorkingDays(ctx context.Context, tx pgx.Tx, in *schedulingv1.WorkingDays) (*schedulingv1.WorkingDays, error) {
	w, err := workingDaysFrom(in)
	if err != nil {
		return nil, err
	}
	rules, err := rulesOf(w)
	if err != nil {
		return nil, err
	}
	old, found, err := store.GetWorkingDays(ctx, tx)
	if err != nil {
		return nil, err
	}
	equal := slices.EqualFunc(w.Rules, old.Rules, func(a, b store.WorkRule) bool {
		return a.Stage == b.Stage && a.Holidays == b.Holidays && slices.Equal(a.Weekdays, b.Weekdays)
	}) && slices.Equal(w.Marked, old.Marked)
	save := saving.Save{Thing: "co-op's working days", Path: "working_days", Etag: in.GetEtag(), Found: found, Equal: equal, Last: old.Change}
	write, err := save.Decide()
	if err != nil {
		return nil, err
	}
	if !write {
		return workingDaysMessage(old), nil
	}
	w.Change = s.change(ctx, old.Version+1)
	if ok, err := store.PutWorkingDays(ctx, tx, identity.Must(ctx).CoopID, w); err != nil {
		return nil, err
	} else if !ok {
		return nil, saving.Raced(save.Thing)
	}
	return workingDaysMessage(w), s.relay(ctx, tx, rules)
}

// relay lays the dates of all crops that have not ended by new working days.
func (s *Server) relay(ctx context.Context, tx pgx.Tx, rules *calendar.Rules) error {
	crops, err := store.ListStandingCrops(ctx, tx, "", calendar.LastDate)
	if err != nil || len(crops) == 0 {
		return err
	}
	open, err := s.openCrops(ctx, tx, each(crops, func(c store.Crop) string { return c.ID }), element("crops"))
	if err != nil {
		return err
	}
	for _, c := range crops {
		if _, err := s.shift(ctx, tx, open[c.ID], rules); err != nil {
			return err
		}
	}
	return nil
}

// workingRules are the co-op's rules for the calendar; nil before they are saved.
func workingRules(ctx context.Context, db pg.DB) (*calendar.Rules, error) {
	w, ok, err := store.GetWorkingDays(ctx, db)
	if err != nil || !ok {
		return nil, err
	}
	return rulesOf(w)
}

func rulesOf(w store.WorkingDays) (*calendar.Rules, error) {
	var holidays []calendar.Holiday
	for _, m := range w.Marked {
		if m.Closed {
			holidays = append(holidays, calendar.Holiday{On: m.On, Name: m.Name})
		}
	}
	rules, err := calendar.NewRules(each(w.Rules, func(r store.WorkRule) calendar.Rule {
		return calendar.Rule{Stage: r.Stage, Weekdays: r.Weekdays, Holidays: r.Holidays}
	}), holidays)
	var wrong *calendar.RuleError
	if errors.As(err, &wrong) {
		return nil, refused("IMPOSSIBLE_RULE", wrong, "working_days.rules")
	}
	return rules, err
}

func workingDaysFrom(in *schedulingv1.WorkingDays) (store.WorkingDays, error) {
	w := store.WorkingDays{Rules: []store.WorkRule{}, Marked: []store.MarkedDay{}}
	for _, r := range in.GetRules() {
		rule := store.WorkRule{Stage: stageKinds.word[r.GetKind()], Holidays: r.GetClosedOnHolidays(), Weekdays: []time.Weekday{}}
		for _, d := range r.GetClosedOn() {
			rule.Weekdays = append(rule.Weekdays, time.Weekday(int(d)%7))
		}
		slices.Sort(rule.Weekdays)
		w.Rules = append(w.Rules, rule)
	}
	for i, m := range in.GetMarkedDays() {
		path := fmt.Sprintf("working_days.marked_days[%d]", i)
		on, err := dateFrom(m.GetDate(), path+".date")
		if err != nil {
			return w, err
		}
		if slices.ContainsFunc(w.Marked, func(o store.MarkedDay) bool { return o.On == on }) {
			return w, fault.InvalidField(path+".date", "%s is marked twice; keep one", on)
		}
		w.Marked = append(w.Marked, store.MarkedDay{On: on, Name: m.GetName(), Closed: m.GetClosed()})
	}
	slices.SortFunc(w.Marked, func(a, b store.MarkedDay) int { return cmp.Compare(a.On, b.On) })
	return w, nil
}

func workingDaysMessage(w store.WorkingDays) *schedulingv1.WorkingDays {
	out := &schedulingv1.WorkingDays{Etag: etag(w.Version)}
	for _, r := range w.Rules {
		rule := &schedulingv1.WorkRule{Kind: stageKinds.enum[r.Stage], ClosedOnHolidays: r.Holidays}
		for _, d := range r.Weekdays {
			rule.ClosedOn = append(rule.ClosedOn, schedulingv1.DayOfWeek((int(d)+6)%7+1))
		}
		out.Rules = append(out.Rules, rule)
	}
	for _, m := range w.Marked {
		out.MarkedDays = append(out.MarkedDays, &schedulingv1.MarkedDay{Date: m.On.String(), Name: m.Name, Closed: m.Closed})
	}
	return out
}
