package importer

import (
	"google.golang.org/grpc"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

// Clients speak to the four services.
type Clients struct {
	Scheduling schedulingv1.SchedulingServiceClient
	Compost    compostlotv1.CompostLotServiceClient
	Harvest    harvestv1.HarvestServiceClient
	Order      orderv1.OrderServiceClient
}

// Connect makes the clients over the connections that dial gives, by a service's name.
func Connect(dial func(service string) (*grpc.ClientConn, error)) (Clients, error) {
	var c Clients
	for name, use := range map[string]func(*grpc.ClientConn){
		"scheduling": func(conn *grpc.ClientConn) { c.Scheduling = schedulingv1.NewSchedulingServiceClient(conn) },
		"compostlot": func(conn *grpc.ClientConn) { c.Compost = compostlotv1.NewCompostLotServiceClient(conn) },
		"harvest":    func(conn *grpc.ClientConn) { c.Harvest = harvestv1.NewHarvestServiceClient(conn) },
		"order":      func(conn *grpc.ClientConn) { c.Order = orderv1.NewOrderServiceClient(conn) },
	} {
		conn, err := dial(name)
		if err != nil {
			return Clients{}, err
		}
		use(conn)
	}
	return c, nil
}
