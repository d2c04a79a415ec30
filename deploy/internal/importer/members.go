package importer

import (
	"context"

	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

func (r *run) coop(ctx context.Context) (Outcome, error) {
	row := r.files.Coop
	have := make(map[string]*schedulingv1.Coop)
	if r.have.coop != nil {
		have[""] = r.have.coop
	}
	wanted := []item[*schedulingv1.Coop]{{&schedulingv1.Coop{Name: row.Name, TimeZone: row.TimeZone, CurrencyCode: row.CurrencyCode}, []int{row.Line}}}
	p := compare(wanted, have, func(*schedulingv1.Coop) string { return "" }, "name", "time_zone", "currency_code")
	return save(ctx, r, source{file: "coop.csv"}, p, func(list []*schedulingv1.Coop) *schedulingv1.SaveCoopRequest {
		return &schedulingv1.SaveCoopRequest{Coop: list[0]}
	}, r.Scheduling.SaveCoop)
}

func (r *run) farms(ctx context.Context) (Outcome, error) {
	var wanted []item[*schedulingv1.Farm]
	for _, f := range r.files.Farms {
		wanted = append(wanted, item[*schedulingv1.Farm]{&schedulingv1.Farm{
			FarmId: f.FarmID, Name: f.Name, Place: f.Place,
			MemberShares: int32(f.MemberShares), CarryCostMinorPerKg: f.CarryCostMinorPerKilo,
		}, []int{f.Line}})
	}
	p := compare(wanted, r.have.farms, (*schedulingv1.Farm).GetFarmId, "name", "place", "member_shares", "carry_cost_minor_per_kg")
	return save(ctx, r, source{file: "farms.csv"}, p, func(list []*schedulingv1.Farm) *schedulingv1.BatchSaveFarmsRequest {
		return &schedulingv1.BatchSaveFarmsRequest{Farms: list}
	}, r.Scheduling.BatchSaveFarms)
}

func (r *run) rooms(ctx context.Context) (Outcome, error) {
	var wanted []item[*schedulingv1.Room]
	for _, m := range r.files.Rooms {
		wanted = append(wanted, item[*schedulingv1.Room]{&schedulingv1.Room{
			RoomId: m.RoomID, FarmId: m.FarmID, Name: m.Name, AreaM2: int32(m.AreaM2), GrowingSystem: systems[m.GrowingSystem],
		}, []int{m.Line}})
	}
	p := compare(wanted, r.have.rooms, (*schedulingv1.Room).GetRoomId, "farm_id", "name", "area_m2", "growing_system")
	return save(ctx, r, source{file: "rooms.csv"}, p, func(list []*schedulingv1.Room) *schedulingv1.BatchSaveRoomsRequest {
		return &schedulingv1.BatchSaveRoomsRequest{Rooms: list}
	}, r.Scheduling.BatchSaveRooms)
}

func (r *run) yards(ctx context.Context) (Outcome, error) {
	var wanted []item[*compostlotv1.Yard]
	for _, y := range r.files.Yards {
		wanted = append(wanted, item[*compostlotv1.Yard]{&compostlotv1.Yard{YardId: y.YardID, Name: y.Name, Place: y.Place}, []int{y.Line}})
	}
	p := compare(wanted, r.have.yards, (*compostlotv1.Yard).GetYardId, "name", "place")
	return save(ctx, r, source{file: "yards.csv"}, p, func(list []*compostlotv1.Yard) *compostlotv1.BatchSaveYardsRequest {
		return &compostlotv1.BatchSaveYardsRequest{Yards: list}
	}, r.Compost.BatchSaveYards)
}

func (r *run) products(ctx context.Context) (Outcome, error) {
	var wanted []item[*orderv1.Product]
	for _, m := range r.files.Products {
		wanted = append(wanted, item[*orderv1.Product]{&orderv1.Product{
			ProductId: m.ProductID, Name: m.Name, Species: m.Species, Strain: m.Strain, PickStage: pickStages[m.PickStage],
			Size: m.Size, Grade: m.Grade, PackGrams: m.PackGrams, PackValueMinor: m.PackValueMinor, ShelfLifeDays: int32(m.ShelfLifeDays),
		}, []int{m.Line}})
	}
	p := compare(wanted, r.have.products, (*orderv1.Product).GetProductId,
		"name", "species", "strain", "pick_stage", "size", "grade", "pack_grams", "pack_value_minor", "shelf_life_days")
	return save(ctx, r, source{file: "products.csv"}, p, func(list []*orderv1.Product) *orderv1.BatchSaveProductsRequest {
		return &orderv1.BatchSaveProductsRequest{Products: list}
	}, r.Order.BatchSaveProducts)
}

func (r *run) customers(ctx context.Context) (Outcome, error) {
	var wanted []item[*orderv1.Customer]
	for _, c := range r.files.Customers {
		customer := &orderv1.Customer{}
		if have := r.have.customers[c.CustomerID]; have != nil {
			// What the file has no columns for, such as substitutes, stays as it is.
			customer = proto.CloneOf(have)
		}
		customer.CustomerId, customer.Name, customer.Place, customer.PriorityClass = c.CustomerID, c.Name, c.Place, int32(c.PriorityClass)
		wanted = append(wanted, item[*orderv1.Customer]{customer, []int{c.Line}})
	}
	p := compare(wanted, r.have.customers, (*orderv1.Customer).GetCustomerId, "name", "place", "priority_class")
	return save(ctx, r, source{file: "customers.csv"}, p, func(list []*orderv1.Customer) *orderv1.BatchSaveCustomersRequest {
		return &orderv1.BatchSaveCustomersRequest{Customers: list}
	}, r.Order.BatchSaveCustomers)
}
