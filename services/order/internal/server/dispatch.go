package server

import (
	"cmp"
	"context"
	"slices"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
)

// Dispatch implements OrderService. Where less was picked than allocated, customers of a higher
// class get theirs first.
func (s *Server) Dispatch(ctx context.Context, req *orderv1.DispatchRequest) (*orderv1.DispatchNote, error) {
	if err := ownFarm(identity.Must(ctx), req.GetFarmId()); err != nil {
		return nil, err
	}
	if _, err := dayNumber("delivery_date", req.GetDeliveryDate()); err != nil {
		return nil, err
	}
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.DispatchNote{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.DispatchNote, error) {
		if err := store.Take(ctx, tx, store.Book); err != nil {
			return nil, err
		}
		m, found, err := store.ConfirmedMatch(ctx, tx, req.GetDeliveryDate())
		if err != nil {
			return nil, err
		}
		if !found {
			return nil, fault.New(fault.Precondition, "NO_CONFIRMED_MATCH", "no match is confirmed for %s: confirm one first", req.GetDeliveryDate()).
				WithField("day "+req.GetDeliveryDate(), "has no confirmed match")
		}
		dock, err := openDock(ctx, tx, m, req.GetFarmId())
		if err != nil {
			return nil, err
		}
		lines := dock.load()
		if len(lines) == 0 {
			return nil, dock.nothingToSend(req.GetFarmId(), req.GetDeliveryDate())
		}
		d, err := store.AddDispatch(ctx, tx, store.Dispatch{
			Farm: req.GetFarmId(), Day: m.Day, Match: m.ID, At: s.now(), By: who(ctx), Lines: lines,
		})
		if err != nil {
			return nil, err
		}
		note := noteOut(d)
		return note, tell(ctx, tx, "dispatch", "sent", d.ID, &orderv1.Dispatched{Note: withoutCodes(note)})
	})
}

// dock is what a farm has to send for a day, and what it may.
type dock struct {
	allocations []store.Allocation
	customers   map[string]store.Customer
	products    map[string]store.Product
	stock       map[string]store.Stock
	ordered     map[lineOf]int64 // packs ordered as the orders are now
	sent        map[store.Sent]int64
	sentLine    map[lineOf]int64
}

func openDock(ctx context.Context, tx pgx.Tx, m store.MatchHead, farm string) (dock, error) {
	d := dock{ordered: make(map[lineOf]int64), sent: make(map[store.Sent]int64), sentLine: make(map[lineOf]int64)}
	var err error
	if d.allocations, err = store.Allocations(ctx, tx, m.ID, farm); err != nil {
		return d, err
	}
	if d.customers, d.products, err = named(ctx, tx, d.allocations); err != nil {
		return d, err
	}
	var lots []string
	for _, a := range d.allocations {
		lots = append(lots, a.Lot)
	}
	if d.stock, err = store.StockOf(ctx, tx, lots); err != nil {
		return d, err
	}
	orders, err := store.OrdersOfDay(ctx, tx, m.Day, "")
	if err != nil {
		return d, err
	}
	for _, o := range orders {
		for _, l := range o.Lines {
			if o.State == store.Placed {
				d.ordered[lineOf{o.ID, l.Product}] = l.Packs
			}
		}
	}
	sent, err := store.SentForDay(ctx, tx, m.Day)
	for _, each := range sent {
		packs := each.Packs
		each.Packs = 0
		d.sent[each] = packs
		d.sentLine[lineOf{each.Order, each.Product}] += packs
	}
	return d, err
}

// free is the number of packs of a lot that may leave now.
func (d dock) free(lot, product string) int64 {
	stock := d.stock[lot]
	if stock.Held || stock.PickedGrams == nil {
		return 0
	}
	return max(0, *stock.PickedGrams/d.products[product].PackGrams-stock.Sent)
}

// load gives each allocation what may leave for it, and returns those that get some, by
// customer, product and lot.
func (d dock) load() []store.DispatchLine {
	inTurn := slices.SortedStableFunc(slices.Values(d.allocations), func(a, b store.Allocation) int {
		return cmp.Compare(d.customers[a.Customer].Class, d.customers[b.Customer].Class)
	})
	free := make(map[string]int64)
	for _, a := range d.allocations {
		free[a.Lot] = d.free(a.Lot, a.Packed)
	}
	var lines []store.DispatchLine
	for _, a := range inTurn {
		line := lineOf{a.Order, a.Product}
		open := min(a.Packs-d.sent[store.Sent{Order: a.Order, Product: a.Product, Lot: a.Lot}], d.ordered[line]-d.sentLine[line])
		packs := min(open, free[a.Lot])
		if packs <= 0 {
			continue
		}
		free[a.Lot] -= packs
		d.sentLine[line] += packs
		lines = append(lines, store.DispatchLine{
			Order: a.Order, Product: a.Product, Lot: a.Lot, Customer: a.Customer, Packs: packs, Allocated: a.Packs,
		})
	}
	slices.SortFunc(lines, func(a, b store.DispatchLine) int {
		return cmp.Or(cmp.Compare(a.Customer, b.Customer), cmp.Compare(a.Product, b.Product), cmp.Compare(a.Lot, b.Lot), cmp.Compare(a.Order, b.Order))
	})
	return lines
}

// nothingToSend says for each lot why none of it may leave.
func (d dock) nothingToSend(farm, day string) error {
	f := fault.New(fault.Precondition, "NOTHING_TO_SEND", "farm %q has nothing to send for %s now", farm, day)
	told := make(map[string]bool)
	for _, a := range d.allocations {
		if told[a.Lot] {
			continue
		}
		told[a.Lot] = true
		stock := d.stock[a.Lot]
		switch {
		case stock.Held:
			f = f.WithField("lot "+a.Lot, "is held: %s", cmp.Or(stock.HoldReason, "no reason given"))
		case stock.PickedGrams == nil:
			f = f.WithField("lot "+a.Lot, "is not picked yet: record the pick")
		case d.free(a.Lot, a.Packed) == 0:
			f = f.WithField("lot "+a.Lot, "has no pack left of what was picked")
		default:
			f = f.WithField("lot "+a.Lot, "has sent all that is still ordered of it")
		}
	}
	if len(told) == 0 {
		f = f.WithField("farm "+farm, "has no packs in the confirmed match of %s", day)
	}
	return f
}

func noteOut(d store.Dispatch) *orderv1.DispatchNote {
	note := &orderv1.DispatchNote{
		DispatchId: d.ID, FarmId: d.Farm, DeliveryDate: d.Day, MatchId: d.Match, DispatchedAt: timestamppb.New(d.At),
	}
	for _, l := range d.Lines {
		note.Lines = append(note.Lines, &orderv1.DispatchLine{
			OrderId: l.Order, CustomerId: l.Customer, ProductId: l.Product, PickLotId: l.Lot,
			Packs: l.Packs, PackIds: l.PackIDs, Allocated: l.Allocated,
		})
	}
	return note
}

// withoutCodes is the note as it is told of.
func withoutCodes(note *orderv1.DispatchNote) *orderv1.DispatchNote {
	told := proto.CloneOf(note)
	for _, l := range told.GetLines() {
		l.PackIds = nil
	}
	return told
}
