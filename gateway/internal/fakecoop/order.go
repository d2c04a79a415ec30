package fakecoop

import (
	"context"
	"fmt"
	"strconv"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

type order struct {
	orderv1.UnimplementedOrderServiceServer
	c *Coop
}

func itoa(i int) string { return strconv.Itoa(i) }

func (o *order) ListCustomers(context.Context, *orderv1.ListCustomersRequest) (*orderv1.ListCustomersResponse, error) {
	return read(o.c, "ListCustomers", func() (*orderv1.ListCustomersResponse, error) {
		return &orderv1.ListCustomersResponse{Customers: o.c.Customers}, nil
	})
}

func (o *order) ListProducts(context.Context, *orderv1.ListProductsRequest) (*orderv1.ListProductsResponse, error) {
	return read(o.c, "ListProducts", func() (*orderv1.ListProductsResponse, error) {
		return &orderv1.ListProductsResponse{Products: o.c.Products}, nil
	})
}

func (o *order) ListOrders(_ context.Context, req *orderv1.ListOrdersRequest) (*orderv1.ListOrdersResponse, error) {
	return read(o.c, "ListOrders", func() (*orderv1.ListOrdersResponse, error) {
		res := &orderv1.ListOrdersResponse{}
		for _, one := range o.c.Orders {
			if one.GetDeliveryDate() == req.GetDeliveryDate() && (req.GetCustomerId() == "" || one.GetCustomerId() == req.GetCustomerId()) {
				res.Orders = append(res.Orders, proto.CloneOf(one))
			}
		}
		return res, nil
	})
}

func (o *order) PlaceOrder(_ context.Context, req *orderv1.PlaceOrderRequest) (*orderv1.Order, error) {
	return once(o.c, "PlaceOrder", req, func() (*orderv1.Order, error) {
		placed := proto.CloneOf(req.GetOrder())
		placed.OrderId = placed.GetCustomerId() + "-" + placed.GetDeliveryDate()
		placed.State, placed.Version, placed.Etag = orderv1.OrderState_ORDER_STATE_PLACED, 1, "1"
		o.c.Orders = append(o.c.Orders, placed)
		return proto.CloneOf(placed), nil
	})
}

func (o *order) ChangeOrder(_ context.Context, req *orderv1.ChangeOrderRequest) (*orderv1.Order, error) {
	return once(o.c, "ChangeOrder", req, func() (*orderv1.Order, error) {
		one, err := o.find(req.GetOrderId())
		if err != nil {
			return nil, err
		}
		if req.GetEtag() != one.GetEtag() {
			return nil, fault.New(fault.Stale, "ORDER_CHANGED", "Order %s was changed by the office at 13:20.", one.GetOrderId())
		}
		one.Lines = req.GetLines()
		one.Version++
		one.Etag = fmt.Sprint(one.Version)
		return proto.CloneOf(one), nil
	})
}

func (o *order) find(id string) (*orderv1.Order, error) {
	for _, one := range o.c.Orders {
		if one.GetOrderId() == id {
			return one, nil
		}
	}
	return nil, notFound("order", id)
}

func (o *order) ConfirmDelivery(ctx context.Context, req *orderv1.ConfirmDeliveryRequest) (*orderv1.Delivery, error) {
	return once(o.c, "ConfirmDelivery", req, func() (*orderv1.Delivery, error) {
		o.c.Received = append(o.c.Received, req)
		receipt := &orderv1.Delivery{
			OrderId: req.GetOrderId(), State: orderv1.DeliveryState_DELIVERY_STATE_CONFIRMED, DispatchedPacks: 42, ReceivedPacks: req.GetReceivedPacks(),
			Remark: req.GetRemark(), ConfirmedBy: identity.Must(ctx).Name,
		}
		for _, d := range o.c.Deliveries {
			if d.GetOrderId() == req.GetOrderId() {
				d.State, d.Receipt, d.Problems = receipt.GetState(), receipt, req.GetProblems()
			}
		}
		return receipt, nil
	})
}

func (o *order) RunMatch(req *orderv1.RunMatchRequest, stream grpc.ServerStreamingServer[orderv1.RunMatchResponse]) error {
	if err := o.c.enter("RunMatch"); err != nil {
		return err
	}
	for _, step := range []orderv1.MatchStep{orderv1.MatchStep_MATCH_STEP_LOADING, orderv1.MatchStep_MATCH_STEP_SOLVING} {
		if err := stream.Send(&orderv1.RunMatchResponse{Step: step}); err != nil {
			return err
		}
	}
	o.c.mu.Lock()
	match := proto.CloneOf(o.c.Match)
	o.c.mu.Unlock()
	return stream.Send(&orderv1.RunMatchResponse{Step: orderv1.MatchStep_MATCH_STEP_DONE, Match: match})
}

func (o *order) GetMatch(_ context.Context, req *orderv1.GetMatchRequest) (*orderv1.Match, error) {
	return read(o.c, "GetMatch", func() (*orderv1.Match, error) {
		if o.c.Match == nil || req.GetDeliveryDate() != "" && req.GetDeliveryDate() != o.c.Match.GetDeliveryDate() {
			return nil, notFound("match", req.GetDeliveryDate())
		}
		return proto.CloneOf(o.c.Match), nil
	})
}

func (o *order) ConfirmMatch(ctx context.Context, req *orderv1.ConfirmMatchRequest) (*orderv1.Match, error) {
	return once(o.c, "ConfirmMatch", req, func() (*orderv1.Match, error) {
		if req.GetEtag() != o.c.Match.GetEtag() {
			return nil, fault.New(fault.Stale, "MATCH_CHANGED", "The match was confirmed by Piotr at 13:20.")
		}
		o.c.Match.State, o.c.Match.ConfirmedBy, o.c.Match.Etag = orderv1.MatchState_MATCH_STATE_CONFIRMED, identity.Must(ctx).Name, "2"
		return proto.CloneOf(o.c.Match), nil
	})
}

func (o *order) GetPackList(_ context.Context, req *orderv1.GetPackListRequest) (*orderv1.PackList, error) {
	return read(o.c, "GetPackList", func() (*orderv1.PackList, error) {
		if req.GetDeliveryDate() != o.c.Match.GetDeliveryDate() {
			return nil, notFound("confirmed match", req.GetDeliveryDate())
		}
		res := &orderv1.PackList{FarmId: req.GetFarmId(), DeliveryDate: req.GetDeliveryDate(), MatchId: o.c.Match.GetMatchId()}
		for _, a := range o.c.Match.GetAllocations() {
			if a.GetFarmId() != req.GetFarmId() {
				continue
			}
			line := &orderv1.PackListLine{
				RoomId: a.GetRoomId(), CustomerId: a.GetCustomerId(), OrderId: a.GetOrderId(), ProductId: a.GetProductId(), PickLotId: a.GetPickLotId(), Packs: a.GetPacks(),
			}
			for _, customer := range o.c.Customers {
				if customer.GetCustomerId() == a.GetCustomerId() {
					line.CustomerName = customer.GetName()
				}
			}
			for _, product := range o.c.Products {
				if product.GetProductId() == a.GetProductId() {
					line.ProductName, line.PackGrams = product.GetName(), product.GetPackGrams()
				}
			}
			res.Lines = append(res.Lines, line)
		}
		return res, nil
	})
}

func (o *order) Dispatch(_ context.Context, req *orderv1.DispatchRequest) (*orderv1.DispatchNote, error) {
	return once(o.c, "Dispatch", req, func() (*orderv1.DispatchNote, error) {
		note := &orderv1.DispatchNote{DispatchId: "ab-1126", FarmId: req.GetFarmId(), DeliveryDate: req.GetDeliveryDate(), MatchId: "m-1"}
		for _, a := range o.c.Match.GetAllocations() {
			if a.GetFarmId() != req.GetFarmId() {
				continue
			}
			if o.c.sent[a.GetPickLotId()+a.GetOrderId()] {
				continue
			}
			o.c.sent[a.GetPickLotId()+a.GetOrderId()] = true
			line := &orderv1.DispatchLine{OrderId: a.GetOrderId(), CustomerId: a.GetCustomerId(), ProductId: a.GetProductId(), PickLotId: a.GetPickLotId(), Packs: a.GetPacks(), Allocated: a.GetPacks()}
			for i := range a.GetPacks() {
				line.PackIds = append(line.PackIds, fmt.Sprintf("ab-1126-%03d", len(note.Lines)*100+int(i)+1))
			}
			note.Lines = append(note.Lines, line)
		}
		return note, nil
	})
}

func (o *order) TraceBack(_ context.Context, req *orderv1.TraceBackRequest) (*orderv1.TraceBackResponse, error) {
	return read(o.c, "order.TraceBack", func() (*orderv1.TraceBackResponse, error) {
		for _, pack := range o.c.Trace.GetPacks() {
			if pack.GetPackId() == req.GetPackId() {
				lot := o.c.Trace.GetPickLots()[0]
				return &orderv1.TraceBackResponse{Pack: pack, PickLot: lot, Crop: o.c.cropTrace(lot.GetCropId())}, nil
			}
		}
		return nil, notFound("pack", req.GetPackId())
	})
}

func (o *order) TraceForward(_ context.Context, req *orderv1.TraceForwardRequest) (*orderv1.TraceForwardResponse, error) {
	return read(o.c, "order.TraceForward", func() (*orderv1.TraceForwardResponse, error) {
		if req.GetCompostLotId() != o.c.Trace.GetCompost().GetCompostLotId() {
			return nil, notFound("compost lot", req.GetCompostLotId())
		}
		return o.c.Trace, nil
	})
}
