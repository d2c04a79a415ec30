package server

import (
	"context"
	"fmt"
	"time"
	_ "time/tzdata" // a co-op's zone must not depend on the machine

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
)

// Rules are the settings of pushing.
type Rules struct {
	HorizonDays int           // how many days ahead a push may lie
	CutOff      time.Duration // after midnight of the day before picking, in the co-op's zone
}

// calendar tells the time in a co-op's zone.
type calendar struct {
	now   time.Time // in the co-op's zone
	rules Rules
}

// calendar reads the co-op's zone; UTC where scheduling has told of none.
func (s *Server) calendar(ctx context.Context, tx pgx.Tx) (calendar, error) {
	coop, err := store.FindCoop(ctx, tx)
	if err != nil {
		return calendar{}, err
	}
	return s.calendarOf(coop)
}

func (s *Server) calendarOf(coop store.Coop) (cal calendar, err error) {
	zone := time.UTC
	if coop.TimeZone != "" {
		if zone, err = time.LoadLocation(coop.TimeZone); err != nil {
			return calendar{}, fmt.Errorf("the co-op's time zone: %w", err)
		}
	}
	return calendar{s.clock.Now().In(zone), s.rules}, nil
}

// today is the day that it is.
func (c calendar) today() day.Date { return day.Of(c.now) }

// cutOff is the moment after which a push for a day is late.
func (c calendar) cutOff(on day.Date) time.Time {
	y, m, d := on.Add(-1).Time().Date()
	h := int(c.rules.CutOff / time.Hour)
	minute := int(c.rules.CutOff % time.Hour / time.Minute)
	return time.Date(y, m, d, h, minute, 0, 0, c.now.Location())
}

// late reports whether a push made now for a day is late.
func (c calendar) late(on day.Date) bool { return c.now.After(c.cutOff(on)) }

// last is the last day of which anything may be said.
func (c calendar) last() day.Date { return c.today().Add(c.rules.HorizonDays) }

// dayOr reads a day that may be left out.
func dayOr(text, path string, otherwise day.Date) (day.Date, error) {
	if text == "" {
		return otherwise, nil
	}
	d, err := day.Parse(text)
	if err != nil {
		return 0, fault.InvalidField(path, "%v", err)
	}
	return d, nil
}
