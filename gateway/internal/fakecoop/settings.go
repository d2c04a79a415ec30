package fakecoop

import (
	"context"
	"slices"

	"google.golang.org/protobuf/proto"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

func (s *scheduling) SaveCoop(_ context.Context, req *schedulingv1.SaveCoopRequest) (*schedulingv1.Coop, error) {
	return once(s.c, "SaveCoop", req, func() (*schedulingv1.Coop, error) {
		if req.GetCoop().GetEtag() != s.c.Settings.GetEtag() {
			return nil, fault.New(fault.Stale, "STALE_ETAG", "The co-op’s settings were changed by Piotr at 13:20.")
		}
		s.c.Settings = proto.CloneOf(req.GetCoop())
		s.c.Settings.Etag += "+"
		return proto.CloneOf(s.c.Settings), nil
	})
}

func (s *scheduling) BatchSaveFarms(_ context.Context, req *schedulingv1.BatchSaveFarmsRequest) (*schedulingv1.BatchSaveFarmsResponse, error) {
	return once(s.c, "BatchSaveFarms", req, func() (*schedulingv1.BatchSaveFarmsResponse, error) {
		for i, f := range req.GetFarms() {
			if f.GetMemberShares() == 0 {
				return nil, fault.InvalidField("farms["+itoa(i)+"].member_shares", "value must be at least 1")
			}
		}
		for _, f := range req.GetFarms() {
			at := slices.IndexFunc(s.c.Farms, func(one *schedulingv1.Farm) bool { return one.GetFarmId() == f.GetFarmId() })
			s.c.Farms[at] = proto.CloneOf(f)
		}
		return &schedulingv1.BatchSaveFarmsResponse{Farms: req.GetFarms()}, nil
	})
}

func (o *order) GetMatchSettings(context.Context, *orderv1.GetMatchSettingsRequest) (*orderv1.MatchSettings, error) {
	return read(o.c, "GetMatchSettings", func() (*orderv1.MatchSettings, error) { return proto.CloneOf(o.c.Sharing), nil })
}

func (o *order) SaveMatchSettings(_ context.Context, req *orderv1.SaveMatchSettingsRequest) (*orderv1.MatchSettings, error) {
	return once(o.c, "SaveMatchSettings", req, func() (*orderv1.MatchSettings, error) {
		for i, c := range req.GetSettings().GetPromiseCosts() {
			if c.GetBrokenMinorPerKg()+c.GetUnsoldMinorPerKg() == 0 {
				return nil, fault.InvalidField("settings.promise_costs["+itoa(i)+"].broken_minor_per_kg", "both costs are 0, which says nothing: give one above 0")
			}
		}
		for i, h := range req.GetSettings().GetHeldFarms() {
			if h.GetReason() == "" {
				return nil, fault.InvalidField("settings.held_farms["+itoa(i)+"].reason", "say why")
			}
		}
		o.c.Sharing = proto.CloneOf(req.GetSettings())
		o.c.Sharing.Etag = "2"
		return proto.CloneOf(o.c.Sharing), nil
	})
}

func (o *order) SaveCustomer(_ context.Context, req *orderv1.SaveCustomerRequest) (*orderv1.Customer, error) {
	return once(o.c, "SaveCustomer", req, func() (*orderv1.Customer, error) {
		given := proto.CloneOf(req.GetCustomer())
		for i, s := range given.GetSubstitutes() {
			if s.GetProductId() == s.GetInsteadProductId() {
				return nil, fault.InvalidField("customer.substitutes["+itoa(i)+"].instead_product_id", "is the product itself")
			}
		}
		at := slices.IndexFunc(o.c.Customers, func(one *orderv1.Customer) bool { return one.GetCustomerId() == given.GetCustomerId() })
		o.c.Customers[at] = given
		return proto.CloneOf(given), nil
	})
}
