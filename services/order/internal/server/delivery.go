package server

import (
	"context"
	"slices"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/requestlog"
)

// ConfirmDelivery implements OrderService. What was confirmed stays; only packs that left after
// it open it again.
func (s *Server) ConfirmDelivery(ctx context.Context, req *orderv1.ConfirmDeliveryRequest) (*orderv1.Delivery, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.Delivery{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.Delivery, error) {
		if err := store.Take(ctx, tx, store.Book); err != nil {
			return nil, err
		}
		order, err := orderByID(ctx, tx, req.GetOrderId())
		if err != nil {
			return nil, err
		}
		now, problems, err := s.deliveryIn(ctx, tx, order, req)
		if err != nil {
			return nil, err
		}
		before, found, err := store.DeliveryOf(ctx, tx, order.ID)
		if err != nil {
			return nil, err
		}
		said, err := store.ReceiptProblems(ctx, tx, []string{order.ID})
		switch {
		case err != nil:
			return nil, err
		case found && before.Received == now.Received && before.Remark == now.Remark && before.Dispatched == now.Dispatched && slices.Equal(said[order.ID], problems):
			return deliveryOut(before), nil
		case found && before.Dispatched == now.Dispatched:
			return nil, fault.New(fault.Precondition, "DELIVERY_CONFIRMED", "the delivery of order %q was confirmed by %s with %d packs received: it is not changed after that",
				order.ID, before.By, before.Received).WithField("order "+order.ID, "its delivery is confirmed already")
		}
		if err := store.SaveDelivery(ctx, tx, now); err != nil {
			return nil, err
		}
		if err := store.SaveReceiptProblems(ctx, tx, order.ID, problems); err != nil {
			return nil, err
		}
		return deliveryOut(now), tell(ctx, tx, "delivery", "confirmed", order.ID, &orderv1.DeliveryConfirmed{
			Delivery: deliveryOut(now), Problems: problemsOut(problems), CustomerId: order.Customer, DeliveryDate: order.Day,
		})
	})
}

// deliveryIn reads the confirmation and compares it with what left.
func (s *Server) deliveryIn(ctx context.Context, tx pgx.Tx, order store.Order, req *orderv1.ConfirmDeliveryRequest) (store.Delivery, []store.ReceiptProblem, error) {
	d := store.Delivery{Order: order.ID, Received: req.GetReceivedPacks(), Remark: req.GetRemark(), By: who(ctx), At: s.now()}
	sent, err := store.SentForOrder(ctx, tx, order.ID)
	if err != nil {
		return d, nil, err
	}
	for _, each := range sent {
		d.Dispatched += each.Packs
	}
	switch {
	case d.Dispatched == 0:
		return d, nil, fault.New(fault.Precondition, "NOTHING_DISPATCHED", "no pack has left for order %q yet", order.ID).
			WithField("order "+order.ID, "has no packs on the way")
	case d.Received > d.Dispatched:
		return d, nil, fault.InvalidField("received_packs", "is %d, and only %d packs left for order %q: count again", d.Received, d.Dispatched, order.ID)
	}
	problems, err := problemsIn(req.GetProblems(), sent, d)
	return d, problems, err
}

func deliveryOut(d store.Delivery) *orderv1.Delivery {
	return &orderv1.Delivery{
		OrderId: d.Order, State: orderv1.DeliveryState_DELIVERY_STATE_CONFIRMED, DispatchedPacks: d.Dispatched, ReceivedPacks: d.Received,
		Remark: d.Remark, ConfirmedBy: d.By, ConfirmedAt: timestamppb.New(d.At),
	}
}
