package server

import (
	"context"
	"maps"
	"slices"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/proposal"
	"breakshare.example/services/scheduling/internal/store"
)

// situation is all that the planner reckons with, as it was read at one moment.
type situation struct {
	span     span
	products []store.Product
	crops    map[string]store.Crop // by id
	currency string
	proposal.Case
}

// situation reads the co-op as it stands.
func (s *Server) situation(ctx context.Context, db pg.DB, span span) (*situation, error) {
	at := &situation{span: span, Case: proposal.Case{First: span.first, Today: span.today, Weeks: span.weeks}}
	coop, found, err := store.GetCoop(ctx, db)
	if err != nil {
		return nil, err
	}
	if !found {
		return nil, fault.New(fault.Precondition, "NO_COOP", "the co-op has no settings yet; save its name, time zone and currency first")
	}
	at.currency = coop.CurrencyCode
	prices, _, _, err := settings(ctx, db)
	if err != nil {
		return nil, err
	}
	if at.Rules, err = workingRules(ctx, db); err != nil {
		return nil, err
	}
	if err := s.wanted(ctx, db, at, prices); err != nil {
		return nil, err
	}
	if err := s.grounds(ctx, db, at); err != nil {
		return nil, err
	}
	if err := at.standing(ctx, db); err != nil {
		return nil, err
	}
	return at, at.yards(ctx, db, prices)
}

// wanted reads what customers want, by kind.
func (s *Server) wanted(ctx context.Context, db pg.DB, at *situation, prices *schedulingv1.PlanningSettings) error {
	outlooks, err := s.outlook(ctx, db, at.span, "")
	if err != nil {
		return err
	}
	at.products = each(outlooks, func(o outlook) store.Product { return o.product })
	if len(at.products) == 0 {
		return fault.New(fault.Precondition, "NO_PRODUCTS", "there is no product to plan for; save the products first")
	}
	costs := map[string]*schedulingv1.ProductCost{}
	for _, c := range prices.GetProducts() {
		costs[c.GetProductId()] = c
	}
	for _, kind := range kinds(at.products, nil) {
		at.Kinds = append(at.Kinds, kindDemand(kind, outlooks, costs, at.Weeks))
	}
	return nil
}

// kindDemand adds up the products of a kind. Its prices are those of its products,
// weighted by what is wanted of each.
func kindDemand(kind programme.Product, outlooks []outlook, costs map[string]*schedulingv1.ProductCost, weeks int) proposal.Kind {
	out := proposal.Kind{Product: kind, DemandGrams: make([]int64, weeks)}
	var short, over, weight int64
	for _, o := range outlooks {
		if kindOf(o.product) != kind {
			continue
		}
		wanted := int64(1) // so that a product nobody wants yet still has its price
		for i, w := range o.weeks {
			out.DemandGrams[i] += w.grams
			wanted += w.grams / 1000
		}
		perKg := o.product.PackValueMinor * 1000 / o.product.PackGrams
		if c := costs[o.product.ID]; c != nil && c.ShortMinorPerKg != nil {
			perKg = c.GetShortMinorPerKg()
		}
		short += perKg * wanted
		over += costs[o.product.ID].GetOverMinorPerKg() * wanted
		weight += wanted
	}
	out.ShortCents, out.OverCents = short/weight, over/weight
	return out
}

// grounds reads farms, rooms and the programmes that bear something sold.
func (s *Server) grounds(ctx context.Context, db pg.DB, at *situation) error {
	farms, err := store.ListFarms(ctx, db, "")
	if err != nil {
		return err
	}
	at.Farms = each(farms, func(f store.Farm) proposal.Farm { return proposal.Farm{ID: f.ID, Shares: int64(f.MemberShares)} })
	rooms, err := store.ListRooms(ctx, db, "")
	if err != nil {
		return err
	}
	at.Rooms = each(rooms, func(r store.Room) proposal.Room {
		return proposal.Room{ID: r.ID, FarmID: r.FarmID, AreaM2: int64(r.AreaM2), System: r.System}
	})
	newest, err := s.newestProgrammes(ctx, db)
	if err != nil {
		return err
	}
	for _, id := range slices.Sorted(maps.Keys(newest)) {
		sold := func(k proposal.Kind) bool { return proposal.Sells(newest[id].Programme, k.Product) }
		if slices.ContainsFunc(at.Kinds, sold) {
			at.Programmes = append(at.Programmes, newest[id].Programme)
		}
	}
	return nil
}

// standing reads the crops that count within the weeks, with their dates.
func (at *situation) standing(ctx context.Context, db pg.DB) error {
	crops, err := store.ListStandingCrops(ctx, db, "", min(at.First, at.Today))
	if err != nil {
		return err
	}
	at.crops = make(map[string]store.Crop, len(crops))
	for _, c := range crops {
		at.crops[c.ID] = c
	}
	at.Crops, err = dated(ctx, db, crops, at.Rules)
	return err
}

// dated computes crops anew, for the breaks that the store does not keep.
func dated(ctx context.Context, db pg.DB, crops []store.Crop, rules *calendar.Rules) ([]proposal.Crop, error) {
	programmes, err := programmesOf(ctx, db, crops)
	if err != nil {
		return nil, err
	}
	out := make([]proposal.Crop, len(crops))
	for i, c := range crops {
		asRules := rulesCrop(c, programmes[c.Programme])
		dates, err := calendar.Compute(asRules, rules)
		if err != nil {
			return nil, err
		}
		out[i] = proposal.Crop{
			ID: c.ID, RoomID: c.RoomID, FarmID: c.FarmID, Programme: asRules.Programme, AreaM2: int64(c.AreaM2),
			Calendar: dates, Fill: c.Fill, Free: c.Free, Begun: asRules.Begun(),
		}
	}
	return out, nil
}

// yards reads the published slots, and what the planner is to reckon with.
func (at *situation) yards(ctx context.Context, db pg.DB, prices *schedulingv1.PlanningSettings) error {
	slots, err := store.OpenSlots(ctx, db, at.span.current)
	if err != nil {
		return err
	}
	var paid, kg int64
	for _, s := range slots {
		at.Slots = append(at.Slots, proposal.Slot{
			YardID: s.YardID, Ready: s.Ready, Phase: int(s.Phase), CapacityKg: s.CapacityKg, GrantedKg: s.GrantedKg,
		})
		tonnes := max(1, s.CapacityKg/1000)
		paid, kg = paid+s.PriceMinorPerTonne*tonnes, kg+tonnes
	}
	compost := prices.GetCompostMinorPerTonne()
	if kg > 0 {
		compost = paid / kg
	}
	at.UnpublishedKg = prices.UnpublishedKgPerWeek
	at.Prices = proposal.Prices{
		CompostPerTonne: compost, SpawnPerKg: prices.GetSpawnMinorPerKg(),
		CasingPerTonne: prices.GetCasingMinorPerTonne(), LabourPerHour: prices.GetLabourMinorPerHour(),
	}
	at.Wishes = proposal.Wishes{
		ChangeCents: prices.GetChangeMinorPerFill(), BalanceCentsPerKg: prices.GetBalanceMinorPerKg(),
		FarmMinutes: prices.GetFarmMinutesPerWeek(), PeakPerHour: prices.GetPeakMinorPerHour(),
	}
	return nil
}
