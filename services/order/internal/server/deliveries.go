package server

import (
	"cmp"
	"context"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// mostDeliveryDays is the longest span of days of deliveries that is answered at once.
const mostDeliveryDays = 92

// ListDeliveries implements OrderService.
func (s *Server) ListDeliveries(ctx context.Context, req *orderv1.ListDeliveriesRequest) (*orderv1.ListDeliveriesResponse, error) {
	asked, err := deliveriesAsked(ctx, req)
	if err != nil {
		return nil, err
	}
	resp := &orderv1.ListDeliveriesResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		lines, err := store.DeliveredLines(ctx, tx, asked)
		if err != nil {
			return err
		}
		resp.Deliveries = byOrder(lines)
		return addReceipts(ctx, tx, resp.GetDeliveries(), asked.Farm)
	})
	return resp, err
}

// deliveriesAsked is what the caller asks for and may see.
func deliveriesAsked(ctx context.Context, req *orderv1.ListDeliveriesRequest) (a store.Asked, err error) {
	a = store.Asked{From: req.GetFromDate(), Until: cmp.Or(req.GetUntilDate(), req.GetFromDate()), Farm: req.GetFarmId()}
	if a.Customer, err = customerAsked(ctx, req.GetCustomerId()); err != nil {
		return a, err
	}
	id := identity.Must(ctx)
	if id.Role == identity.Grower && a.Farm == "" {
		a.Farm = id.FarmID
	}
	if err := ownFarm(id, a.Farm); err != nil {
		return a, err
	}
	return a, span(a.From, a.Until, mostDeliveryDays)
}

// span refuses days that are none, that are the wrong way round, or that are too many.
func span(from, until string, most int) error {
	first, err := dayNumber("from_date", from)
	if err != nil {
		return err
	}
	last, err := dayNumber("until_date", until)
	switch {
	case err != nil:
		return err
	case last < first:
		return fault.InvalidField("until_date", "%s is before %s: give a later day", until, from)
	case last-first > most:
		return fault.InvalidField("until_date", "is %d days after from_date, and %d are the most: ask for fewer at a time", last-first, most)
	}
	return nil
}

// byOrder puts the lines of each order together; those of one order stand side by side.
func byOrder(lines []store.Delivered) []*orderv1.OrderDelivery {
	var all []*orderv1.OrderDelivery
	for _, l := range lines {
		if n := len(all); n == 0 || all[n-1].GetOrderId() != l.Order {
			all = append(all, &orderv1.OrderDelivery{
				OrderId: l.Order, CustomerId: l.Customer, DeliveryDate: l.Day, State: orderv1.DeliveryState_DELIVERY_STATE_DISPATCHED,
			})
		}
		d := all[len(all)-1]
		d.DispatchedPacks += l.Packs
		d.Lines = append(d.Lines, &orderv1.DeliveryLine{
			ProductId: l.Product, PickLotId: l.Lot, FarmId: l.Farm, DispatchId: l.Dispatch, DispatchedAt: timestamppb.New(l.At), Packs: l.Packs, PackedProductId: l.Packed,
		})
	}
	return all
}

// addReceipts adds what customers say of the deliveries. Where only a farm's packs are asked for, it
// leaves out what concerns others: the receipt of the whole order, and problems of other farms' lots
// and of products that the farm did not send.
func addReceipts(ctx context.Context, tx pgx.Tx, all []*orderv1.OrderDelivery, farm string) error {
	ids := make([]string, len(all))
	for i, d := range all {
		ids[i] = d.GetOrderId()
	}
	receipts, err := store.Receipts(ctx, tx, ids, farm)
	if err != nil {
		return err
	}
	problems, err := store.ReceiptProblems(ctx, tx, ids)
	if err != nil {
		return err
	}
	for _, d := range all {
		receipt, there := receipts[d.GetOrderId()]
		if !there {
			continue
		}
		if receipt.Whole {
			d.State = orderv1.DeliveryState_DELIVERY_STATE_CONFIRMED
		}
		found := problems[d.GetOrderId()]
		if farm == "" {
			d.Receipt = deliveryOut(receipt.Delivery)
		} else {
			found = ofDelivery(found, d)
		}
		d.Problems = problemsOut(found)
	}
	return nil
}

// ofDelivery are the problems that can be about the lines of a delivery.
func ofDelivery(all []store.ReceiptProblem, d *orderv1.OrderDelivery) []store.ReceiptProblem {
	products, lots := make(map[string]bool), make(map[string]bool)
	for _, l := range d.GetLines() {
		products[l.GetProductId()], lots[l.GetPickLotId()] = true, true
	}
	var own []store.ReceiptProblem
	for _, p := range all {
		if products[p.Product] && (p.Lot == "" || lots[p.Lot]) {
			own = append(own, p)
		}
	}
	return own
}
