package server

import (
	"context"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/standing"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/ids"
)

// carryOut writes the orders of plans and tells of them. The caller holds the Book, and made the
// plans holding it.
func (s *Server) carryOut(ctx context.Context, tx pgx.Tx, plans []planned) error {
	fresh := make(map[int]string) // ids of new orders, by plan
	var wanted []string
	for i, p := range plans {
		if p.Outcome == standing.Place && p.Order == "" {
			fresh[i] = p.customer + "-" + compact(p.day)
			wanted = append(wanted, fresh[i])
		}
	}
	taken, err := store.OrdersByID(ctx, tx, wanted)
	if err != nil {
		return err
	}
	var rows []store.Order
	for i := range plans {
		p := &plans[i]
		if !p.writes() {
			continue
		}
		if id, new := fresh[i]; new {
			// Somebody may have given the name of this customer's day to another order.
			if _, there := taken[id]; there || len(id) > longestID {
				id = ids.New()
			}
			p.order = store.Order{ID: id, Customer: p.customer, Day: p.day, Origin: store.FromStanding}
		}
		what := p.write(s.change(ctx, p.order.Version+1))
		rows = append(rows, p.order)
		if err := tellOrder(ctx, tx, what, p.order); err != nil {
			return err
		}
	}
	return store.SaveOrders(ctx, tx, rows)
}

// write makes the order of the day what was decided and says what happened to it.
func (p *planned) write(c store.Change) (what string) {
	what = "changed"
	if p.order.Version == 0 {
		what = "placed"
	}
	p.order.Change, p.Order = c, p.order.ID
	if p.Outcome == standing.Cancel {
		p.order.State = store.Cancelled
		return "cancelled"
	}
	p.order.State, p.order.Lines, p.lines = store.Placed, nil, p.Lines
	for _, l := range p.Lines {
		p.order.Lines = append(p.order.Lines, store.OrderLine{Product: l.Product, Packs: l.Packs, Smallest: l.Smallest})
	}
	return what
}

// tellOrder tells what happened to an order: "placed", "changed" or "cancelled".
func tellOrder(ctx context.Context, tx pgx.Tx, what string, o store.Order) error {
	switch out := orderOut(o); what {
	case "placed":
		return tell(ctx, tx, "order", what, o.ID, &orderv1.OrderPlaced{Order: out})
	case "cancelled":
		return tell(ctx, tx, "order", what, o.ID, &orderv1.OrderCancelled{Order: out})
	default:
		return tell(ctx, tx, "order", what, o.ID, &orderv1.OrderChanged{Order: out})
	}
}
