package fakecoop

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// Ordering is what the co-op has of standing orders, the cut-off and deliveries.
type Ordering struct {
	Rules      *orderv1.OrderingSettings
	Sharing    *orderv1.MatchSettings // the rules of matches
	Standing   []*orderv1.StandingOrder
	Days       []*orderv1.StandingDay
	Likely     []*orderv1.LikelyLine
	Deliveries []*orderv1.OrderDelivery
	Needs      []*orderv1.SpawnNeed
}

func (c *Coop) fillOrdering() {
	c.Sharing = &orderv1.MatchSettings{
		ShortRule: orderv1.ShortRule_SHORT_RULE_BY_ORDERED, SeasonTiltPercent: 40, CorrelationThousandths: 250, Etag: "1", Grades: []string{"I", "II"},
		PromiseCosts: []*orderv1.PromiseCost{{ProductId: "white-closed-2kg", BrokenMinorPerKg: 300, UnsoldMinorPerKg: 120}},
		ZoneCosts:    []*orderv1.ZoneCost{{FarmId: "alder-brook", ZoneId: "harbour", MinorPerKg: 18}},
	}
	c.Rules = &orderv1.OrderingSettings{
		CutoffTime: "16:00", CutoffDaysBefore: 1, ClosedDays: []*orderv1.ClosedDay{{Date: "2026-12-25", Name: "Christmas Day"}}, Etag: "1",
	}
	days := []orderv1.Weekday{orderv1.Weekday_WEEKDAY_TUESDAY, orderv1.Weekday_WEEKDAY_FRIDAY}
	c.Standing = []*orderv1.StandingOrder{{
		StandingOrderId: "copper-pan-weekly", CustomerId: "copper-pan", FromDate: Tomorrow,
		Lines: []*orderv1.StandingLine{
			{ProductId: "oyster-1kg", Packs: 10, Weekdays: days}, {ProductId: "white-closed-2kg", Packs: 24, SmallestPacks: 6, Weekdays: days[1:]},
		},
		Exceptions: []*orderv1.StandingException{{FromDate: "2026-12-24", UntilDate: "2027-01-02", Note: "closed over Christmas"}},
		Version:    1, Etag: "1", ChangedBy: "Una", ChangedAt: at(Today, 9),
	}}
	c.Days = []*orderv1.StandingDay{
		{
			CustomerId: "copper-pan", DeliveryDate: "2026-11-27", Outcome: orderv1.StandingOutcome_STANDING_OUTCOME_KEPT, OrderId: "copper-pan-20261127",
			Lines:   []*orderv1.OrderLine{{ProductId: "oyster-1kg", Packs: 10}, {ProductId: "white-closed-2kg", Packs: 24, SmallestPacks: 6}},
			Ordered: []*orderv1.OrderLine{{ProductId: "oyster-1kg", Packs: 4}}, StandingOrderIds: []string{"copper-pan-weekly"},
		},
		{
			CustomerId: "copper-pan", DeliveryDate: "2026-12-01", Outcome: orderv1.StandingOutcome_STANDING_OUTCOME_AS_ORDERED, OrderId: "copper-pan-20261201",
			Lines:   []*orderv1.OrderLine{{ProductId: "oyster-1kg", Packs: 10}},
			Ordered: []*orderv1.OrderLine{{ProductId: "oyster-1kg", Packs: 10}}, StandingOrderIds: []string{"copper-pan-weekly"},
		},
	}
	c.Likely = []*orderv1.LikelyLine{
		{OrderId: "copper-pan-20261126", CustomerId: "copper-pan", ProductId: "oyster-1kg", Ordered: 12, Likely: 12, Basis: orderv1.LikelyBasis_LIKELY_BASIS_PROPOSED},
		{
			OrderId: "copper-pan-20261126", CustomerId: "copper-pan", ProductId: "white-closed-2kg", Ordered: 30, Likely: 26,
			Reason: orderv1.LikelyReason_LIKELY_REASON_NOT_ENOUGH, Basis: orderv1.LikelyBasis_LIKELY_BASIS_PROPOSED,
		},
	}
	c.Deliveries = []*orderv1.OrderDelivery{{
		OrderId: "copper-pan-20261125", CustomerId: "copper-pan", DeliveryDate: Today, State: orderv1.DeliveryState_DELIVERY_STATE_DISPATCHED, DispatchedPacks: 42,
		Lines: []*orderv1.DeliveryLine{
			{ProductId: "oyster-1kg", PackedProductId: "oyster-1kg", PickLotId: lotCode("birch-hollow-1", "oyster-1kg", Today), FarmId: "birch-hollow", DispatchId: "bh-1125", DispatchedAt: at(Today, 6), Packs: 12},
			{ProductId: "white-closed-2kg", PackedProductId: "white-closed-2kg", PickLotId: lotCode("alder-brook-1", "white-closed-2kg", Today), FarmId: "alder-brook", DispatchId: "ab-1125", DispatchedAt: at(Today, 6), Packs: 30},
		},
	}}
	c.Needs = []*orderv1.SpawnNeed{
		need("alder-brook", orderv1.NeedKind_NEED_KIND_SPAWN, "alder-brook-2-20261214", "alder-brook-2", 96_000),
		need("birch-hollow", orderv1.NeedKind_NEED_KIND_SPAWN, "birch-hollow-1-20261215", "birch-hollow-1", 60_000),
		need("alder-brook", orderv1.NeedKind_NEED_KIND_CASING, "alder-brook-3-20261112", "alder-brook-3", 9_600_000),
	}
}

func need(farm string, kind orderv1.NeedKind, crop, room string, grams int64) *orderv1.SpawnNeed {
	const day = "2026-12-15"
	n := &orderv1.SpawnNeed{
		Week: "2026-12-14", FarmId: farm, Kind: kind, Grams: grams, FirstDate: day,
		Crops: []*orderv1.CropNeed{{CropId: crop, RoomId: room, FarmId: farm, Date: day, Grams: grams}},
	}
	if kind == orderv1.NeedKind_NEED_KIND_SPAWN {
		n.Species, n.Strain = "white mushroom", "white hybrid strain"
	}
	return n
}

func (o *order) SaveStandingOrder(ctx context.Context, req *orderv1.SaveStandingOrderRequest) (*orderv1.StandingOrder, error) {
	return once(o.c, "SaveStandingOrder", req, func() (*orderv1.StandingOrder, error) {
		given := proto.CloneOf(req.GetStandingOrder())
		given.ChangedBy, given.ChangedAt = identity.Must(ctx).Name, timestamppb.New(o.c.Clock.Now())
		for i, l := range given.GetLines() {
			if l.GetSmallestPacks() > l.GetPacks() {
				return nil, fault.InvalidField(fmt.Sprintf("standing_order.lines[%d].smallest_packs", i), "is more than packs: give no more than are wanted")
			}
		}
		at, kept := o.standing(given.GetStandingOrderId())
		switch {
		case kept == nil:
			given.Version, given.Etag = 1, "1"
			o.c.Standing = append(o.c.Standing, given)
			return proto.CloneOf(given), nil
		case given.GetEtag() != kept.GetEtag():
			return nil, fault.New(fault.Stale, "STALE_ETAG", "Standing order %s was changed by the office at 13:20.", kept.GetStandingOrderId())
		}
		given.Version = kept.GetVersion() + 1
		given.Etag = fmt.Sprint(given.GetVersion())
		o.c.Standing[at] = given
		return proto.CloneOf(given), nil
	})
}

func (o *order) standing(id string) (int, *orderv1.StandingOrder) {
	for i, one := range o.c.Standing {
		if one.GetStandingOrderId() == id {
			return i, one
		}
	}
	return 0, nil
}

func (o *order) EndStandingOrder(_ context.Context, req *orderv1.EndStandingOrderRequest) (*orderv1.StandingOrder, error) {
	return once(o.c, "EndStandingOrder", req, func() (*orderv1.StandingOrder, error) {
		_, kept := o.standing(req.GetStandingOrderId())
		switch {
		case kept == nil:
			return nil, notFound("standing order", req.GetStandingOrderId())
		case req.GetEtag() != kept.GetEtag():
			return nil, fault.New(fault.Stale, "STALE_ETAG", "Standing order %s was changed by the office at 13:20.", kept.GetStandingOrderId())
		}
		kept.Ended = true
		kept.Version++
		kept.Etag = fmt.Sprint(kept.GetVersion())
		return proto.CloneOf(kept), nil
	})
}

func (o *order) ListStandingOrders(_ context.Context, req *orderv1.ListStandingOrdersRequest) (*orderv1.ListStandingOrdersResponse, error) {
	return read(o.c, "ListStandingOrders", func() (*orderv1.ListStandingOrdersResponse, error) {
		res := &orderv1.ListStandingOrdersResponse{}
		for _, one := range o.c.Standing {
			if (req.GetCustomerId() == "" || one.GetCustomerId() == req.GetCustomerId()) && (req.GetWithEnded() || !one.GetEnded()) {
				res.StandingOrders = append(res.StandingOrders, proto.CloneOf(one))
			}
		}
		return res, nil
	})
}

func (o *order) ListStandingDays(_ context.Context, req *orderv1.ListStandingDaysRequest) (*orderv1.ListStandingDaysResponse, error) {
	return read(o.c, "ListStandingDays", func() (*orderv1.ListStandingDaysResponse, error) {
		return &orderv1.ListStandingDaysResponse{Days: o.daysOf(req.GetCustomerId())}, nil
	})
}

func (o *order) ExpandStandingOrders(_ context.Context, req *orderv1.ExpandStandingOrdersRequest) (*orderv1.ExpandStandingOrdersResponse, error) {
	return once(o.c, "ExpandStandingOrders", req, func() (*orderv1.ExpandStandingOrdersResponse, error) {
		return &orderv1.ExpandStandingOrdersResponse{Days: o.daysOf(req.GetCustomerId())}, nil
	})
}

func (o *order) daysOf(customer string) []*orderv1.StandingDay {
	var days []*orderv1.StandingDay
	for _, d := range o.c.Days {
		if customer == "" || d.GetCustomerId() == customer {
			days = append(days, proto.CloneOf(d))
		}
	}
	return days
}

func (o *order) SaveOrderingSettings(_ context.Context, req *orderv1.SaveOrderingSettingsRequest) (*orderv1.OrderingSettings, error) {
	return once(o.c, "SaveOrderingSettings", req, func() (*orderv1.OrderingSettings, error) {
		if req.GetSettings().GetEtag() != o.c.Rules.GetEtag() {
			return nil, fault.New(fault.Stale, "STALE_ETAG", "The ordering settings were changed by Piotr at 13:20.")
		}
		o.c.Rules = proto.CloneOf(req.GetSettings())
		o.c.Rules.Etag = "2"
		return proto.CloneOf(o.c.Rules), nil
	})
}

func (o *order) GetOrderingSettings(context.Context, *orderv1.GetOrderingSettingsRequest) (*orderv1.OrderingSettings, error) {
	return read(o.c, "GetOrderingSettings", func() (*orderv1.OrderingSettings, error) { return proto.CloneOf(o.c.Rules), nil })
}

// GetCutoff is on the day before at the time of the rules, in UTC.
func (o *order) GetCutoff(_ context.Context, req *orderv1.GetCutoffRequest) (*orderv1.Cutoff, error) {
	return read(o.c, "GetCutoff", func() (*orderv1.Cutoff, error) {
		now := o.c.Clock.Now()
		res := &orderv1.Cutoff{DeliveryDate: req.GetDeliveryDate(), Now: timestamppb.New(now), Open: true, TimeZone: o.c.Settings.GetTimeZone()}
		for _, d := range o.c.Rules.GetClosedDays() {
			if d.GetDate() == req.GetDeliveryDate() {
				res.ClosedDay, res.Open = d.GetName(), false
			}
		}
		if o.c.Rules.GetCutoffTime() == "" {
			return res, nil
		}
		day, err := time.Parse("2006-01-02 15:04", req.GetDeliveryDate()+" "+o.c.Rules.GetCutoffTime())
		if err != nil {
			return nil, fault.InvalidField("delivery_date", "is not a day of the calendar")
		}
		cutoff := day.AddDate(0, 0, -int(o.c.Rules.GetCutoffDaysBefore()))
		res.CutoffAt, res.Open = timestamppb.New(cutoff), res.Open && now.Before(cutoff)
		return res, nil
	})
}

func (o *order) GetDayOutlook(_ context.Context, req *orderv1.GetDayOutlookRequest) (*orderv1.DayOutlook, error) {
	return read(o.c, "GetDayOutlook", func() (*orderv1.DayOutlook, error) {
		res := &orderv1.DayOutlook{DeliveryDate: req.GetDeliveryDate()}
		for _, one := range o.c.Orders {
			if one.GetDeliveryDate() != req.GetDeliveryDate() {
				continue
			}
			for _, l := range o.c.Likely {
				if l.GetOrderId() == one.GetOrderId() && (req.GetCustomerId() == "" || l.GetCustomerId() == req.GetCustomerId()) {
					res.Lines = append(res.Lines, proto.CloneOf(l))
					res.SupplyAsOf = at(Today, 13)
				}
			}
		}
		return res, nil
	})
}

func (o *order) ListDeliveries(_ context.Context, req *orderv1.ListDeliveriesRequest) (*orderv1.ListDeliveriesResponse, error) {
	return read(o.c, "ListDeliveries", func() (*orderv1.ListDeliveriesResponse, error) {
		res := &orderv1.ListDeliveriesResponse{}
		last := max(req.GetFromDate(), req.GetUntilDate())
		for _, d := range o.c.Deliveries {
			if d.GetDeliveryDate() < req.GetFromDate() || d.GetDeliveryDate() > last || req.GetCustomerId() != "" && d.GetCustomerId() != req.GetCustomerId() {
				continue
			}
			res.Deliveries = append(res.Deliveries, proto.CloneOf(d))
		}
		return res, nil
	})
}

func (o *order) ListSpawnNeeds(_ context.Context, req *orderv1.ListSpawnNeedsRequest) (*orderv1.ListSpawnNeedsResponse, error) {
	return read(o.c, "ListSpawnNeeds", func() (*orderv1.ListSpawnNeedsResponse, error) {
		res := &orderv1.ListSpawnNeedsResponse{}
		for _, n := range o.c.Needs {
			if n.GetFirstDate() < req.GetFromDate() || n.GetFirstDate() > req.GetUntilDate() || req.GetFarmId() != "" && n.GetFarmId() != req.GetFarmId() {
				continue
			}
			res.Needs = append(res.Needs, proto.CloneOf(n))
		}
		if req.GetPooled() {
			res.Needs = pooled(res.GetNeeds())
		}
		return res, nil
	})
}

// pooled puts the needs of all farms for one thing together; those of the co-op are of one week.
func pooled(needs []*orderv1.SpawnNeed) []*orderv1.SpawnNeed {
	var out []*orderv1.SpawnNeed
	at := make(map[orderv1.NeedKind]*orderv1.SpawnNeed)
	for _, n := range needs {
		sum := at[n.GetKind()]
		if sum == nil {
			sum = proto.CloneOf(n)
			sum.FarmId, sum.Grams, sum.Crops = "", 0, nil
			at[n.GetKind()], out = sum, append(out, sum)
		}
		sum.Grams += n.GetGrams()
		sum.Crops = append(sum.Crops, n.GetCrops()...)
	}
	return out
}
