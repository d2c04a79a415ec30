package server

import (
	"context"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
)

// ConfirmMatch implements OrderService.
//
// A match is a promise to kitchens, so it is confirmed only while it still fits: every order of
// the day is as it was when the match was run, every lot can give what is taken from it, and
// packs that have left stay where they went. Figures of supply come in all afternoon; one that
// takes nothing away from the match is no reason to run it again.
func (s *Server) ConfirmMatch(ctx context.Context, req *orderv1.ConfirmMatchRequest) (*orderv1.Match, error) {
	done, err := requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.Match{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.Match, error) {
		if err := store.Take(ctx, tx, store.Book); err != nil {
			return nil, err
		}
		head, found, err := store.MatchByID(ctx, tx, req.GetMatchId())
		if err != nil {
			return nil, err
		}
		if !found {
			return nil, notFound("match", req.GetMatchId())
		}
		if err := asRead(ctx, tx, head, req.GetEtag()); err != nil {
			return nil, err
		}
		m, err := store.WithRows(ctx, tx, head)
		if err != nil || head.State == store.Confirmed {
			return matchOut(m), err
		}
		if err := stillFits(ctx, tx, m); err != nil {
			return nil, err
		}
		return s.confirm(ctx, tx, m)
	})
	if err == nil {
		s.sessions.prepare(confirmed{identity.Must(ctx).CoopID, done.GetMatchId()})
	}
	return done, err
}

// confirm stores the confirmation and tells of it.
func (s *Server) confirm(ctx context.Context, tx pgx.Tx, m store.Match) (*orderv1.Match, error) {
	if err := store.ConfirmMatch(ctx, tx, m.MatchHead, who(ctx), s.now()); err != nil {
		return nil, err
	}
	head, _, err := store.MatchByID(ctx, tx, m.ID)
	if err != nil {
		return nil, err
	}
	m.MatchHead = head
	told := matchOut(m)
	told.Lines, told.Allocations = nil, nil
	if err := tell(ctx, tx, "match", "confirmed", m.ID, &orderv1.MatchConfirmed{Match: told}); err != nil {
		return nil, err
	}
	return matchOut(m), nil
}

// asRead refuses a caller who has not seen the match and its day as they are now.
func asRead(ctx context.Context, tx pgx.Tx, m store.MatchHead, tag string) error {
	if tag == matchEtag(m) {
		if m.State == store.Replaced {
			return fault.New(fault.Precondition, "MATCH_REPLACED", "match %q was replaced by a later one: run the day again", m.ID).
				WithField("match "+m.ID, "was replaced by a later one")
		}
		return nil
	}
	now, found, err := store.ConfirmedMatch(ctx, tx, m.Day)
	if err != nil {
		return err
	}
	if !found {
		return fault.New(fault.Stale, "STALE_ETAG", "that is not the etag of match %q: read it again", m.ID).WithField("etag", "is not that of the match: read it again")
	}
	last := store.Change{By: *now.ConfirmedBy, At: *now.ConfirmedAt}
	return saving.Stale("MATCH_CONFIRMED_MEANWHILE", last, "match %q was confirmed for %s meanwhile", now.ID, m.Day).
		WithField("etag", "was read before match %s was confirmed: read the match again", now.ID).WithMeta("confirmedMatch", now.ID)
}

// stillFits refuses a match that orders, supply or what has left no longer agree with.
func stillFits(ctx context.Context, tx pgx.Tx, m store.Match) error {
	number, err := dayNumber("delivery_date", m.Day)
	if err != nil {
		return err
	}
	if err := ordersStand(ctx, tx, m); err != nil {
		return err
	}
	day, err := loadDay(ctx, tx, m.Day, number)
	if err != nil {
		return err
	}
	if err := sentStays(m, day.day.Sent); err != nil {
		return err
	}
	return supplyStands(m, day.day)
}

// lineOf names an order line.
type lineOf struct{ order, product string }

// ordersStand compares the lines of the match with the orders as they are now.
func ordersStand(ctx context.Context, tx pgx.Tx, m store.Match) error {
	orders, err := store.OrdersOfDay(ctx, tx, m.Day, "")
	if err != nil {
		return err
	}
	matched := make(map[lineOf]int64, len(m.Lines))
	of := make(map[string]int)
	for _, l := range m.Lines {
		matched[lineOf{l.Order, l.Product}] = l.Ordered
		of[l.Order]++
	}
	var last store.Change
	var changed []string
	for _, o := range orders {
		if !sameOrder(o, matched, of[o.ID]) {
			changed = append(changed, o.ID)
			if o.At.After(last.At) {
				last = o.Change
			}
		}
	}
	if len(changed) == 0 {
		return nil
	}
	return saving.Stale("ORDERS_CHANGED", last, "%s changed since match %q was run, last %s", counted(len(changed), "order"), m.ID, listed(changed)).
		WithField("match_id", "was run before the change of %s: run the day again", listed(changed)).WithMeta("orders", listed(changed))
}

// sameOrder reports whether an order is as the match has it, with that many lines.
func sameOrder(o store.Order, matched map[lineOf]int64, lines int) bool {
	if o.State == store.Cancelled {
		return lines == 0
	}
	for _, l := range o.Lines {
		if matched[lineOf{o.ID, l.Product}] != l.Packs {
			return false
		}
	}
	return lines == len(o.Lines)
}

// sentStays sees that the match keeps every pack that has left where it went.
func sentStays(m store.Match, sent []match.Sent) error {
	kept := make(map[match.Sent]int64, len(m.Allocations))
	for _, a := range m.Allocations {
		kept[match.Sent{Order: a.Order, Product: a.Product, Lot: a.Lot}] = a.Packs
	}
	for _, s := range sent {
		packs := s.Packs
		if s.Packs = 0; kept[s] < packs {
			return fault.New(fault.Stale, "PACKS_LEFT", "%d packs of lot %s have left for order %q since match %q was run: run the day again", packs, s.Lot, s.Order, m.ID).
				WithField("match_id", "was run before packs of lot %s left: run the day again", s.Lot)
		}
	}
	return nil
}

// supplyStands sees that every lot can give what the match takes from it.
func supplyStands(m store.Match, day match.Day) error {
	shelfLife := make(map[string]int, len(day.Products))
	for _, p := range day.Products {
		shelfLife[p.ID] = p.ShelfLife
	}
	has := make(map[string]int64, len(day.Lots))
	for _, l := range day.Lots {
		if l.FitOn(day.Number, shelfLife[l.Product]) == match.Fits {
			// What was promised when it was run may be less sure now; it is there if it is likely.
			has[l.ID] = l.Packs + l.Withheld
		}
	}
	sent := make(map[string]int64)
	for _, s := range day.Sent {
		sent[s.Lot] += s.Packs
	}
	takes := make(map[string]int64)
	var order []string
	for _, a := range m.Allocations {
		if takes[a.Lot] += a.Packs; takes[a.Lot] == a.Packs {
			order = append(order, a.Lot)
		}
	}
	var short []string
	for _, lot := range order {
		if can := max(has[lot], sent[lot]); takes[lot] > can {
			short = append(short, fmt.Sprintf("%s (%d of %d packs)", lot, can, takes[lot]))
		}
	}
	if len(short) == 0 {
		return nil
	}
	return fault.New(fault.Stale, "SUPPLY_CHANGED", "%s can no longer give what match %q takes: %s: run the day again", counted(len(short), "lot"), m.ID, listed(short)).
		WithField("match_id", "takes more than there is of %s: run the day again", listed(short)).WithMeta("lots", listed(short))
}

// listed names up to five things and counts the rest.
func listed(all []string) string {
	const most = 5
	if len(all) <= most {
		return strings.Join(all, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(all[:most], ", "), len(all)-most)
}

// counted writes a number of things.
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}
