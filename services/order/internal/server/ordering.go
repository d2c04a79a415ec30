package server

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"
	_ "time/tzdata" // a co-op's zone must not depend on the machine

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/cutoff"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
)

// defaultHorizon is for how many days standing orders become orders where the co-op does not say.
const defaultHorizon = 14

// ordering is when customers may order, as it stands now.
type ordering struct {
	rules store.Ordering
	zone  *time.Location // UTC where nobody has told
	now   time.Time
}

// ordering reads the rules and the co-op's zone.
func (s *Server) ordering(ctx context.Context, db pg.DB) (ordering, error) {
	o := ordering{now: s.now(), zone: time.UTC}
	var err error
	if o.rules, err = store.OrderingSettings(ctx, db); err != nil {
		return o, err
	}
	if o.rules.Zone == "" {
		return o, nil
	}
	if o.zone, err = time.LoadLocation(o.rules.Zone); err != nil {
		return o, fmt.Errorf("the co-op's time zone: %w", err)
	}
	return o, nil
}

// cutoffAt is the cut-off of a day; nil where the co-op has set none.
func (o ordering) cutoffAt(day string) (*time.Time, error) {
	if o.rules.Clock == nil {
		return nil, nil
	}
	at, err := cutoff.Rule{Clock: *o.rules.Clock, DaysBefore: int(o.rules.DaysBefore), Zone: o.zone}.At(day)
	return &at, err
}

// late tells whether the cut-off of a day is past.
func (o ordering) late(day string) (bool, error) {
	at, err := o.cutoffAt(day)
	return at != nil && !o.now.Before(*at), err
}

// closed is the name of a day without deliveries; empty for others.
func (o ordering) closed(day string) string {
	if i := slices.IndexFunc(o.rules.Closed, func(c store.ClosedDay) bool { return c.Day == day }); i >= 0 {
		return o.rules.Closed[i].Name
	}
	return ""
}

// horizon is the first and last day for which standing orders become orders.
func (o ordering) horizon() (from, until time.Time) {
	today, err := time.Parse(time.DateOnly, cutoff.Today(o.now, o.zone))
	if err != nil {
		panic(fmt.Sprintf("order: a date that this package wrote: %v", err))
	}
	days := int(o.rules.Horizon)
	if days == 0 {
		days = defaultHorizon
	}
	return today.AddDate(0, 0, 1), today.AddDate(0, 0, days)
}

// mayOrder refuses a buyer what is too late for a day, or on a day without deliveries. subject is
// the path of what is refused. Others may order at any time.
func (o ordering) mayOrder(id identity.Identity, day, subject string) error {
	if id.Role != identity.Buyer {
		return nil
	}
	if name := o.closed(day); name != "" {
		return fault.New(fault.Precondition, "CLOSED_DAY", "the co-op delivers nothing on %s (%s): order for another day", day, name).
			WithField(subject, "is on a day without deliveries: %s", name)
	}
	at, err := o.cutoffAt(day)
	if err != nil || at == nil || o.now.Before(*at) {
		return err
	}
	return fault.New(fault.Precondition, "CUTOFF_PASSED", "orders for %s closed on %s: ask the co-op's coordinator to change what you ordered", day, at.In(o.zone).Format("2006-01-02 at 15:04")).
		WithField(subject, "is past the cut-off: ask the co-op's coordinator").
		WithMeta("cutoffAt", at.UTC().Format(time.RFC3339))
}

// GetCutoff implements OrderService.
func (s *Server) GetCutoff(ctx context.Context, req *orderv1.GetCutoffRequest) (*orderv1.Cutoff, error) {
	day := req.GetDeliveryDate()
	if _, err := dayNumber("delivery_date", day); err != nil {
		return nil, err
	}
	out := &orderv1.Cutoff{DeliveryDate: day}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		o, err := s.ordering(ctx, tx)
		if err != nil {
			return err
		}
		at, err := o.cutoffAt(day)
		out.CutoffAt, out.Now, out.TimeZone, out.ClosedDay = instant(at), timestamppb.New(o.now), o.rules.Zone, o.closed(day)
		out.Open = out.ClosedDay == "" && (at == nil || o.now.Before(*at))
		return err
	})
	return out, err
}

// SaveOrderingSettings implements OrderService.
func (s *Server) SaveOrderingSettings(ctx context.Context, req *orderv1.SaveOrderingSettingsRequest) (*orderv1.OrderingSettings, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.OrderingSettings{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.OrderingSettings, error) {
		if err := store.Take(ctx, tx, store.Book); err != nil {
			return nil, err
		}
		last, err := store.OrderingSettings(ctx, tx)
		if err != nil {
			return nil, err
		}
		row, err := orderingIn(req.GetSettings())
		if err != nil {
			return nil, err
		}
		write, err := saving.Save{
			Thing: "ordering settings", Path: "settings", Etag: req.GetSettings().GetEtag(), Found: last.Version > 0,
			Equal: sameOrdering(row, last), Last: last.Change,
		}.Decide()
		if err != nil {
			return nil, err
		}
		if !write {
			return orderingOut(last), nil
		}
		row.Change = s.change(ctx, last.Version+1)
		return orderingOut(row), store.SaveOrderingSettings(ctx, tx, row)
	})
}

// GetOrderingSettings implements OrderService.
func (s *Server) GetOrderingSettings(ctx context.Context, _ *orderv1.GetOrderingSettingsRequest) (*orderv1.OrderingSettings, error) {
	var out *orderv1.OrderingSettings
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		o, err := store.OrderingSettings(ctx, tx)
		out = orderingOut(o)
		return err
	})
	return out, err
}

func orderingIn(m *orderv1.OrderingSettings) (store.Ordering, error) {
	o := store.Ordering{DaysBefore: m.GetCutoffDaysBefore(), Horizon: m.GetHorizonDays()}
	if m.GetCutoffTime() != "" {
		o.Clock = &m.CutoffTime
	} else if o.DaysBefore != 0 {
		return o, fault.InvalidField("settings.cutoff_time", "is empty, and %d days before the delivery are given: give a time too, or no days", o.DaysBefore)
	}
	path := func(i int) string { return fmt.Sprintf("settings.closed_days[%d].date", i) }
	if _, err := distinct(m.GetClosedDays(), (*orderv1.ClosedDay).GetDate, path); err != nil {
		return o, err
	}
	for i, c := range m.GetClosedDays() {
		if _, err := dayNumber(path(i), c.GetDate()); err != nil {
			return o, err
		}
		o.Closed = append(o.Closed, store.ClosedDay{Day: c.GetDate(), Name: c.GetName()})
	}
	slices.SortFunc(o.Closed, func(a, b store.ClosedDay) int { return cmp.Compare(a.Day, b.Day) })
	return o, nil
}

func sameOrdering(a, b store.Ordering) bool {
	return sameText(a.Clock, b.Clock) && a.DaysBefore == b.DaysBefore && a.Horizon == b.Horizon && slices.Equal(a.Closed, b.Closed)
}

func orderingOut(o store.Ordering) *orderv1.OrderingSettings {
	m := &orderv1.OrderingSettings{CutoffDaysBefore: o.DaysBefore, HorizonDays: o.Horizon}
	if o.Clock != nil {
		m.CutoffTime = *o.Clock
	}
	for _, c := range o.Closed {
		m.ClosedDays = append(m.ClosedDays, &orderv1.ClosedDay{Date: c.Day, Name: c.Name})
	}
	if o.Version > 0 {
		m.Etag = etag(o.Version)
	}
	return m
}
