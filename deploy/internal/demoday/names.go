package demoday

import (
	"cmp"
	"context"

	"breakshare.example/deploy/internal/importer"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

func readNames(ctx context.Context, c importer.Clients) (names, error) {
	n := names{
		farms: make(map[string]string), rooms: make(map[string]string), customers: make(map[string]string),
		products: make(map[string]string), product: make(map[string]*orderv1.Product),
	}
	farms, err := c.Scheduling.ListFarms(ctx, &schedulingv1.ListFarmsRequest{})
	if err != nil {
		return n, err
	}
	for _, f := range farms.GetFarms() {
		n.farms[f.GetFarmId()] = f.GetName()
	}
	rooms, err := c.Scheduling.ListRooms(ctx, &schedulingv1.ListRoomsRequest{})
	if err != nil {
		return n, err
	}
	for _, r := range rooms.GetRooms() {
		n.rooms[r.GetRoomId()] = r.GetName()
	}
	customers, err := c.Order.ListCustomers(ctx, &orderv1.ListCustomersRequest{})
	if err != nil {
		return n, err
	}
	for _, k := range customers.GetCustomers() {
		n.customers[k.GetCustomerId()] = k.GetName()
	}
	products, err := c.Order.ListProducts(ctx, &orderv1.ListProductsRequest{})
	if err != nil {
		return n, err
	}
	for _, p := range products.GetProducts() {
		n.products[p.GetProductId()] = p.GetName()
		n.product[p.GetProductId()] = p
	}
	return n, nil
}

// named is the name of an id, or the id where it has none.
func named(of map[string]string, id string) string { return cmp.Or(of[id], id) }
