package server

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
)

// CloseDay ends the pushing for a day.
func (s *Server) CloseDay(ctx context.Context, req *harvestv1.CloseDayRequest) (*harvestv1.CloseDayResponse, error) {
	on, err := day.Parse(req.GetDate())
	if err != nil {
		return nil, fault.InvalidField("date", "%v", err)
	}
	return keep(ctx, s, req.GetRequestId(), req, &harvestv1.CloseDayResponse{},
		func(ctx context.Context, tx pgx.Tx) (*harvestv1.CloseDayResponse, error) {
			return s.closeDay(ctx, tx, on)
		})
}

// standInName is whom an expected pick that the forecast made is put down to.
const standInName = "forecast"

// closeDay keeps the day's figures for scoring and lets the forecast stand in
// for whoever has not pushed. A day that is over keeps the figures with which it
// was closed, and gets no stand-ins: nobody sells on them any more.
func (s *Server) closeDay(ctx context.Context, tx pgx.Tx, on day.Date) (*harvestv1.CloseDayResponse, error) {
	if err := store.LockClosing(ctx, tx); err != nil {
		return nil, err
	}
	if err := store.LockTree(ctx, tx, false); err != nil {
		return nil, err
	}
	cal, err := s.calendar(ctx, tx)
	if err != nil {
		return nil, err
	}
	if on > cal.last() {
		return nil, fault.InvalidField("date", "%s lies more than %d days ahead: close it from %s on", on, cal.rules.HorizonDays, on.Add(-cal.rules.HorizonDays))
	}
	list, err := s.figures(ctx, tx, cal, on, on, "", nil)
	if err != nil {
		return nil, err
	}
	resp := &harvestv1.CloseDayResponse{}
	before, err := store.OutlooksOfDays(ctx, tx, on, on, "")
	if err != nil {
		return nil, err
	}
	fresh := list
	if on < cal.today() {
		fresh = nil
		for _, f := range list {
			if _, kept := before[f.lot.ID]; !kept {
				fresh = append(fresh, f)
			}
		}
	}
	open, err := s.openFigures(ctx, tx, fresh)
	if err != nil {
		return nil, err
	}
	if on >= cal.today() {
		if resp.StandIns, err = s.standIn(ctx, tx, fresh, open); err != nil {
			return nil, err
		}
	}
	keep := make([]store.Outlook, len(fresh))
	for i, f := range fresh {
		keep[i] = store.Outlook{
			LotID: f.lot.ID, Said: f.out.Push, Fixed: f.out.PushFixed, Combined: f.out.Combined, Used: f.out.Use,
			PushPerMille: f.out.PushPerMille, ClosedAt: s.clock.Now(),
		}
		if f.model {
			keep[i].Model = &f.out.Forecast
		}
		if keep[i].Programme, err = f.programmeBand(); err != nil {
			return nil, err
		}
	}
	if err := store.SaveOutlooks(ctx, tx, keep); err != nil {
		return nil, err
	}
	// A day of which nothing is known is not over with: crops may yet be heard of.
	if len(list) > 0 {
		if err := store.CloseDay(ctx, tx, on, s.clock.Now()); err != nil {
			return nil, err
		}
	}
	resp.Outlooks, err = outlooks(ctx, tx, cal, list, on, on, "")
	return resp, err
}

// openFigures opens the lots of the figures.
func (s *Server) openFigures(ctx context.Context, tx pgx.Tx, list []figure) (store.Opened, error) {
	rooms := make([]string, len(list))
	wanted := make([]store.PickLot, len(list))
	for i, f := range list {
		rooms[i], wanted[i] = f.lot.RoomID, f.lot
	}
	book, err := store.Book(ctx, tx, rooms)
	if err != nil {
		return store.Opened{}, err
	}
	return openLots(ctx, tx, book, wanted)
}

// standIn saves the forecast as the expected pick of each lot of which nobody
// pushed and nothing was picked, and tells of it like of a push: a push that
// comes later is the next version and takes its place.
func (s *Server) standIn(ctx context.Context, tx pgx.Tx, list []figure, open store.Opened) (int32, error) {
	var said []store.Expected
	for _, f := range list {
		l := open.Lots[f.lot.ID]
		if f.out.Push != nil || l.Picks > 0 {
			continue
		}
		said = append(said, store.Expected{
			LotID: l.ID, Low: f.out.Use.Low, Likely: f.out.Use.Likely, High: f.out.Use.High,
			PushedBy: standInName, PushedAt: s.clock.Now(), StandIn: true,
			RoomID: l.RoomID, ProductID: l.ProductID, Day: l.Day, FarmID: l.FarmID, CropID: l.Origin.CropID, Held: l.Held(),
		})
	}
	_, err := saveExpected(ctx, tx, open, said)
	return int32(len(said)), err
}

// CloseDue closes, for every co-op, tomorrow once its cut-off has passed, and
// says how many it closed. A day closed already is left alone.
func (s *Server) CloseDue(ctx context.Context) (closed int, err error) {
	coops, err := s.coops(ctx)
	if err != nil {
		return 0, err
	}
	for _, coop := range coops {
		did, err := s.closeDue(ctx, coop)
		if err != nil {
			return closed, fmt.Errorf("close the day of co-op %s: %w", coop, err)
		}
		if did {
			closed++
		}
	}
	return closed, nil
}

// coops are the ids of all co-ops.
func (s *Server) coops(ctx context.Context) (coops []string, err error) {
	// The roll of co-ops belongs to none.
	const nobody = "00000000-0000-0000-0000-000000000000"
	err = pg.InReadTx(ctx, s.pool, nobody, func(ctx context.Context, tx pgx.Tx) error {
		coops, err = store.Coops(ctx, tx)
		return err
	})
	return coops, err
}

func (s *Server) closeDue(ctx context.Context, coop string) (did bool, err error) {
	ctx = identity.With(ctx, identity.Identity{CoopID: coop, Role: identity.Service, Name: "harvest"})
	err = pg.InTx(ctx, s.pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		did = false
		if err := store.LockClosing(ctx, tx); err != nil {
			return err
		}
		cal, err := s.calendar(ctx, tx)
		if err != nil {
			return err
		}
		tomorrow := cal.today().Add(1)
		if !cal.late(tomorrow) {
			return nil
		}
		if done, err := store.DayClosed(ctx, tx, tomorrow); err != nil || done {
			return err
		}
		closed, err := s.closeDay(ctx, tx, tomorrow)
		did = len(closed.GetOutlooks()) > 0
		return err
	})
	if did && err == nil {
		s.changed(ctx)
	}
	return did, err
}
