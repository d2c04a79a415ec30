package server

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/requestlog"
)

// RunMatch implements OrderService. The run reads the day without holding anybody up; only the
// storing of its answer takes its turn in the Book. Whatever changed meanwhile is found when the
// match is to be confirmed.
func (s *Server) RunMatch(req *orderv1.RunMatchRequest, stream grpc.ServerStreamingServer[orderv1.RunMatchResponse]) error {
	number, err := dayNumber("delivery_date", req.GetDeliveryDate())
	if err != nil {
		return err
	}
	step := func(step orderv1.MatchStep) error { return stream.Send(&orderv1.RunMatchResponse{Step: step}) }
	m, err := requestlog.Once(stream.Context(), s.pool, req.GetRequestId(), req, &orderv1.Match{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.Match, error) {
		if err := step(orderv1.MatchStep_MATCH_STEP_LOADING); err != nil {
			return nil, err
		}
		day, err := loadDay(ctx, tx, req.GetDeliveryDate(), number)
		if err != nil {
			return nil, err
		}
		best, err := s.solve(ctx, match.Run, day.day, step)
		if err != nil {
			return nil, asFault(err)
		}
		stored, err := s.keep(ctx, tx, best, day, nil, match.Run)
		if err != nil {
			return nil, err
		}
		return matchOut(stored), nil
	})
	if err != nil {
		return err
	}
	return stream.Send(&orderv1.RunMatchResponse{Step: orderv1.MatchStep_MATCH_STEP_DONE, Match: m})
}

// keep stores a match as a proposal. Where there are pins, the day is matched without them too, to
// tell what they cost.
func (s *Server) keep(ctx context.Context, tx pgx.Tx, best match.Match, day loaded, from *string, run runner) (store.Match, error) {
	m := s.matchIn(ctx, best, day)
	m.From = from
	if len(day.day.Pins) > 0 {
		day.day.Pins = nil
		free, err := s.matchOnce(ctx, run, day.day)
		if err != nil {
			return m, asFault(err)
		}
		cost := free.Value() - best.Value()
		m.PinsCostMinor = &cost
	}
	if err := store.Take(ctx, tx, store.Book); err != nil {
		return m, err
	}
	return store.AddMatch(ctx, tx, m)
}

// runner matches a day: match.Run, or that of a session.
type runner func(ctx context.Context, d match.Day, told func(match.Step)) (match.Match, error)

// tellAgain is how long a step lasts before it is told again, so that whoever waits sees that
// work goes on.
const tellAgain = time.Second

// solve matches the day and tells each step; a caller who went away ends it.
func (s *Server) solve(ctx context.Context, run runner, d match.Day, step func(orderv1.MatchStep) error) (match.Match, error) {
	ctx, cancel := context.WithTimeout(ctx, s.solveWithin)
	defer cancel()
	var gone error
	var last match.Step
	var at time.Time
	best, err := run(ctx, d, func(now match.Step) {
		// The solver goes back and forth between the two; the first time of each is told.
		if gone != nil || now <= last && time.Since(at) < tellAgain {
			return
		}
		last, at = max(now, last), time.Now()
		if gone = step(stepOut[now]); gone != nil {
			cancel()
		}
	})
	if gone != nil {
		return match.Match{}, gone
	}
	return best, err
}

var stepOut = map[match.Step]orderv1.MatchStep{
	match.Solving:   orderv1.MatchStep_MATCH_STEP_SOLVING,
	match.Verifying: orderv1.MatchStep_MATCH_STEP_VERIFYING,
}

// GetMatch implements OrderService.
func (s *Server) GetMatch(ctx context.Context, req *orderv1.GetMatchRequest) (*orderv1.Match, error) {
	id, day := req.GetMatchId(), req.GetDeliveryDate()
	if (id == "") == (day == "") {
		return nil, fault.InvalidField("match_id", "give either the id of a match or a day of delivery")
	}
	if day != "" {
		if _, err := dayNumber("delivery_date", day); err != nil {
			return nil, err
		}
	}
	var out *orderv1.Match
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		head, found, err := findMatch(ctx, tx, id, day)
		switch {
		case err != nil:
			return err
		case !found && day != "":
			return fault.New(fault.NotFound, "", "no match was run for %s yet", day)
		case !found:
			return notFound("match", id)
		}
		m, err := store.WithRows(ctx, tx, head)
		out = matchOut(m)
		return err
	})
	return out, err
}

func findMatch(ctx context.Context, tx pgx.Tx, id, day string) (store.MatchHead, bool, error) {
	if id != "" {
		return store.MatchByID(ctx, tx, id)
	}
	return store.NewestMatch(ctx, tx, day)
}

// matchIn turns a match into its rows.
func (s *Server) matchIn(ctx context.Context, best match.Match, day loaded) store.Match {
	m := store.Match{MatchHead: store.MatchHead{
		Day: day.date, RunAt: s.now(), RunBy: who(ctx), SupplyAsOf: day.asOf,
		Nodes: int32(best.Proof.Nodes), Arcs: int32(best.Proof.Arcs), Cost: best.Proof.Cost, SolveMicros: best.Proof.Solving.Microseconds(),
		Phases: int32(best.Proof.Phases), Splits: int32(best.Proof.Splits), GapMinor: best.Proof.Gap[1:], ValueMinor: best.Value(),
	}}
	for _, l := range best.Lines {
		m.Lines = append(m.Lines, store.MatchLine{
			Order: l.Order, Product: l.Product, Customer: l.Customer, Ordered: l.Packs, Matched: l.Matched,
			Reason: reasons[l.Reason].stored, Explanation: l.Explanation, Binding: bindingIn(l.Binds), Farms: int32(l.Farms),
		})
	}
	for _, a := range best.Allocations {
		m.Allocations = append(m.Allocations, store.Allocation{
			Order: a.Order, Product: a.Product, Lot: a.Lot, Customer: a.Customer, Farm: a.Farm, Room: a.Room, Packs: a.Packs, Packed: a.Packed,
		})
	}
	grams := make(map[string]int64, len(day.day.Products))
	for _, p := range day.day.Products {
		grams[p.ID] = p.Grams
	}
	for _, p := range best.Products {
		row := store.MatchProduct{
			Product: p.Product, Offered: p.Offered, Ordered: p.Ordered, Matched: p.Matched, Given: p.Given, MoreWorthMinor: p.Price.More,
			WorthMinorPerKg: p.Price.More * 1000 / grams[p.Product], LeftOver: p.LeftOver,
			Likely: day.promised[p.Product].likely, PooledGainGrams: day.promised[p.Product].gained,
			Said: day.promised[p.Product].said,
		}
		if p.Price.Has {
			row.FewerCostMinor = &p.Price.Fewer
		}
		m.Products = append(m.Products, row)
	}
	for _, f := range best.Farms {
		before := day.season[f.Farm]
		m.Farms = append(m.Farms, store.MatchFarm{
			Farm: f.Farm, Offered: f.Offered, Matched: f.Matched, SeasonOffered: before.Offered, SeasonMatched: before.Matched,
		})
	}
	return m
}
