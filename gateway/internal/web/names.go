package web

import (
	"context"

	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

// names are the words that people know things by; a thing without a name goes by its id.
type names struct {
	farms, rooms, yards, customers map[string]string
	products                       map[string]*orderv1.Product
}

// things are what a page needs the names of.
type things uint8

const (
	farmNames things = 1 << iota
	roomNames
	yardNames
	customerNames
	productNames
)

// names asks for the names of some things, at once.
func (p *Pages) names(ctx context.Context, want things) (names, error) {
	var n names
	err := together(ctx,
		func(ctx context.Context) error {
			if want&farmNames == 0 {
				return nil
			}
			res, err := p.scheduling.ListFarms(ctx, &schedulingv1.ListFarmsRequest{})
			n.farms = byID(res.GetFarms(), (*schedulingv1.Farm).GetFarmId, (*schedulingv1.Farm).GetName)
			return err
		},
		func(ctx context.Context) error {
			if want&roomNames == 0 {
				return nil
			}
			res, err := p.scheduling.ListRooms(ctx, &schedulingv1.ListRoomsRequest{})
			n.rooms = byID(res.GetRooms(), (*schedulingv1.Room).GetRoomId, (*schedulingv1.Room).GetName)
			return err
		},
		func(ctx context.Context) error {
			if want&yardNames == 0 {
				return nil
			}
			res, err := p.compostlot.ListYards(ctx, &compostlotv1.ListYardsRequest{})
			n.yards = byID(res.GetYards(), (*compostlotv1.Yard).GetYardId, (*compostlotv1.Yard).GetName)
			return err
		},
		func(ctx context.Context) error {
			if want&customerNames == 0 {
				return nil
			}
			res, err := p.order.ListCustomers(ctx, &orderv1.ListCustomersRequest{})
			n.customers = byID(res.GetCustomers(), (*orderv1.Customer).GetCustomerId, (*orderv1.Customer).GetName)
			return err
		},
		func(ctx context.Context) error {
			if want&productNames == 0 {
				return nil
			}
			res, err := p.order.ListProducts(ctx, &orderv1.ListProductsRequest{})
			n.products = byID(res.GetProducts(), (*orderv1.Product).GetProductId, func(p *orderv1.Product) *orderv1.Product { return p })
			return err
		},
	)
	return n, err
}

func byID[T, V any](all []T, id func(T) string, value func(T) V) map[string]V {
	m := make(map[string]V, len(all))
	for _, one := range all {
		m[id(one)] = value(one)
	}
	return m
}

// together runs all at once and returns the first error.
func together(ctx context.Context, all ...func(context.Context) error) error {
	group, ctx := errgroup.WithContext(ctx)
	for _, one := range all {
		group.Go(func() error { return one(ctx) })
	}
	return group.Wait()
}

// ask is a call for together, whose answer goes to out.
func ask[Q, A any](out *A, call func(context.Context, Q, ...grpc.CallOption) (A, error), req Q) func(context.Context) error {
	return func(ctx context.Context) (err error) {
		*out, err = call(ctx, req)
		return err
	}
}

// naming is a reading of names for together.
func (p *Pages) naming(out *names, want things) func(context.Context) error {
	return func(ctx context.Context) (err error) {
		*out, err = p.names(ctx, want)
		return err
	}
}

func (n names) product(id string) string {
	if name := n.products[id].GetName(); name != "" {
		return name
	}
	return id
}

func nameOf(names map[string]string, id string) string {
	if name := names[id]; name != "" {
		return name
	}
	return id
}
