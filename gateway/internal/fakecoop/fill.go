package fakecoop

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
)

func (c *Coop) fill() {
	c.Settings = &schedulingv1.Coop{Name: "Stillwater Growers", TimeZone: "Europe/Dublin", CurrencyCode: "EUR", Etag: "1"}
	c.Farms = []*schedulingv1.Farm{
		{FarmId: "alder-brook", Name: "Alder Brook Farm", Place: "Kilcormac", MemberShares: 4, CarryCostMinorPerKg: 12},
		{FarmId: "birch-hollow", Name: "Birch Hollow", Place: "Clara", MemberShares: 2, CarryCostMinorPerKg: 18},
	}
	for _, r := range []struct{ id, farm, name string }{
		{"alder-brook-1", "alder-brook", "House 1"}, {"alder-brook-2", "alder-brook", "House 2"},
		{"alder-brook-3", "alder-brook", "House 3"}, {"birch-hollow-1", "birch-hollow", "Long shed"},
	} {
		c.Rooms = append(c.Rooms, &schedulingv1.Room{RoomId: r.id, FarmId: r.farm, Name: r.name, AreaM2: 240, GrowingSystem: typev1.GrowingSystem_GROWING_SYSTEM_SHELVES})
	}
	c.Products = []*orderv1.Product{
		{ProductId: "brown-closed-2kg", Name: "Brown closed cups, 2 kg", Species: "brown mushroom", PackGrams: 2000, PackValueMinor: 1100, ShelfLifeDays: 5},
		{ProductId: "oyster-1kg", Name: "Oyster clusters, 1 kg", Species: "oyster mushroom", PackGrams: 1000, PackValueMinor: 1300, ShelfLifeDays: 3},
		{ProductId: "white-closed-2kg", Name: "White closed cups, 2 kg", Species: "white mushroom", PickStage: typev1.PickStage_PICK_STAGE_CLOSED, PackGrams: 2000, PackValueMinor: 900, ShelfLifeDays: 5},
		{ProductId: "white-open-3kg", Name: "White opens, 3 kg", Species: "white mushroom", PickStage: typev1.PickStage_PICK_STAGE_OPEN, PackGrams: 3000, PackValueMinor: 1200, ShelfLifeDays: 4},
	}
	c.Customers = []*orderv1.Customer{
		{CustomerId: "copper-pan", Name: "The Copper Pan", Place: "Tullamore", PriorityClass: 1},
		{CustomerId: "harbour-light", Name: "Harbour Light", Place: "Galway", PriorityClass: 2},
	}
	c.fillCrops()
	c.fillProgrammes()
	c.fillTroubles()
	c.fillHarvest()
	c.fillOutlooks()
	c.fillOrders()
	c.fillOrdering()
	c.fillYard()
}

func (c *Coop) fillCrops() {
	c.Crops = []*schedulingv1.Crop{
		crop("alder-brook-1-20261001", "alder-brook-1", "alder-brook", "white mushroom", "2026-10-01", 3),
		crop("alder-brook-2-20261003", "alder-brook-2", "alder-brook", "brown mushroom", "2026-10-03", 1),
		crop("alder-brook-3-20261112", "alder-brook-3", "alder-brook", "white mushroom", "2026-11-12", 5),
		crop("birch-hollow-1-20261005", "birch-hollow-1", "birch-hollow", "oyster mushroom", "2026-10-05", 2),
	}
}

func (c *Coop) fillTroubles() {
	c.Conflicts = []*schedulingv1.CropConflict{{
		RoomId: "alder-brook-2", FirstCropId: "alder-brook-2-20261003", SecondCropId: "alder-brook-2-20261228", FromDate: "2026-12-28", UntilDate: "2026-12-30",
		MoveCropId: "alder-brook-2-20261228", MoveDays: 2,
	}}
	c.Overdue = []*schedulingv1.OverdueStage{{
		CropId: "alder-brook-3-20261112", RoomId: "alder-brook-3", FarmId: "alder-brook", Kind: schedulingv1.StageKind_STAGE_KIND_SPAWNING, ExpectedDate: "2026-11-24", Days: 1,
	}}
}

// crop is a crop on shelves whose steps take a fixed number of days.
func crop(id, room, farm, species, fill string, version int64) *schedulingv1.Crop {
	c := &schedulingv1.Crop{
		CropId: id, RoomId: room, FarmId: farm, ProgrammeId: "shelf", ProgrammeVersion: 1, Species: species, FillDate: fill,
		State: schedulingv1.CropState_CROP_STATE_RUNNING, AreaM2: 240, CompostGrams: 22_000_000, SpawnGrams: 120_000,
		CompostPhase: typev1.CompostPhase_COMPOST_PHASE_TWO, Version: version, Etag: fmt.Sprint(version),
	}
	day, _ := time.Parse(time.DateOnly, fill)
	for _, s := range []struct {
		kind schedulingv1.StageKind
		days int
	}{
		{schedulingv1.StageKind_STAGE_KIND_FILLING, 1}, {schedulingv1.StageKind_STAGE_KIND_PHASE_TWO, 12},
		{schedulingv1.StageKind_STAGE_KIND_SPAWN_RUN, 14}, {schedulingv1.StageKind_STAGE_KIND_CASE_RUN, 9},
		{schedulingv1.StageKind_STAGE_KIND_PINNING, 9}, {schedulingv1.StageKind_STAGE_KIND_CROPPING, 35},
		{schedulingv1.StageKind_STAGE_KIND_COOK_OUT, 2}, {schedulingv1.StageKind_STAGE_KIND_IDLE, 5},
	} {
		end := day.AddDate(0, 0, s.days)
		if s.kind == schedulingv1.StageKind_STAGE_KIND_CROPPING {
			c.FirstPickDate = day.Format(time.DateOnly)
		}
		c.Stages = append(c.Stages, &schedulingv1.CropStage{Kind: s.kind, StartDate: day.Format(time.DateOnly), EndDate: end.Format(time.DateOnly)})
		day = end
	}
	c.FreeDate = day.Format(time.DateOnly)
	return c
}

func (c *Coop) fillHarvest() {
	c.Expected = []*harvestv1.ExpectedPick{
		expected("alder-brook-1", "alder-brook", "white-closed-2kg", "2026-11-24", 60_000, 72_500, 85_000),
		expected("birch-hollow-1", "birch-hollow", "oyster-1kg", Tomorrow, 30_000, 40_000, 52_000),
	}
}

// score is that of one source over 28 days.
func score(bias, mae, coverage float64) *harvestv1.SourceScore {
	return &harvestv1.SourceScore{Cards: []*harvestv1.ScoreCard{{Days: 7}, {Days: 28, Figures: 12, BiasGrams: &bias, MaeGrams: &mae, Coverage: &coverage}}}
}

func (c *Coop) fillOutlooks() {
	picked := int64(70_000)
	said := &harvestv1.Fan{LowGrams: 60_000, LikelyGrams: 72_500, HighGrams: 85_000}
	c.Outlooks = []*harvestv1.Outlook{
		{RoomId: "alder-brook-1", FarmId: "alder-brook", ProductId: "white-closed-2kg", Date: "2026-11-24", Said: said, Used: said, PickedGrams: &picked},
		{RoomId: "alder-brook-2", FarmId: "alder-brook", ProductId: "brown-closed-2kg", Date: Tomorrow, Model: &harvestv1.Fan{LowGrams: 31_049, LikelyGrams: 38_351, HighGrams: 47_101}},
	}
	c.Scores = &harvestv1.GetScoresResponse{
		AsOfDate: "2026-11-24", All: &harvestv1.Score{Grower: score(2_400, 6_100, 0.71), Model: score(-310, 4_900, 0.83), Used: score(120, 4_200, 0.81)},
		Parts: []*harvestv1.Score{
			{FarmId: "alder-brook", Grower: score(1_900, 5_200, 0.75), Model: score(-500, 4_700, 0.8)},
			{FarmId: "alder-brook", RoomId: "alder-brook-1", Grower: score(1_900, 5_200, 0.75)},
		},
	}
}

func expected(room, farm, product, date string, low, likely, high int64) *harvestv1.ExpectedPick {
	return &harvestv1.ExpectedPick{
		RoomId: room, FarmId: farm, ProductId: product, Date: date, LowGrams: low, LikelyGrams: likely, HighGrams: high, Version: 1,
		PushedBy: "Una", PushedAt: at(Today, 13), PickLotId: lotCode(room, product, date),
	}
}

func lotCode(room, product, date string) string {
	day, _ := time.Parse(time.DateOnly, date)
	return room + "-" + product + "-" + day.Format("20060102")
}

func at(date string, hour int) *timestamppb.Timestamp {
	day, _ := time.Parse(time.DateOnly, date)
	return timestamppb.New(day.Add(time.Duration(hour) * time.Hour))
}

func (c *Coop) fillOrders() {
	lines := []*orderv1.OrderLine{{ProductId: "oyster-1kg", Packs: 12}, {ProductId: "white-closed-2kg", Packs: 30}}
	c.Orders = []*orderv1.Order{
		{OrderId: "copper-pan-20261125", CustomerId: "copper-pan", DeliveryDate: Today, Lines: lines, State: orderv1.OrderState_ORDER_STATE_PLACED, Version: 1, Etag: "1"},
		{OrderId: "copper-pan-20261126", CustomerId: "copper-pan", DeliveryDate: Tomorrow, Lines: lines, State: orderv1.OrderState_ORDER_STATE_PLACED, Version: 1, Etag: "1"},
		{OrderId: "harbour-light-20261126", CustomerId: "harbour-light", DeliveryDate: Tomorrow, Lines: lines, State: orderv1.OrderState_ORDER_STATE_PLACED, Version: 1, Etag: "1"},
	}
	c.Match = &orderv1.Match{
		MatchId: "m-1", DeliveryDate: Tomorrow, State: orderv1.MatchState_MATCH_STATE_PROPOSED, RunAt: at(Today, 14), RunBy: "Una", Etag: "1",
		Products: []*orderv1.MatchProduct{
			{ProductId: "oyster-1kg", Offered: 40, Ordered: 24, Matched: 24, Left: 16, LeftOver: "Nobody ordered more of it."},
			{ProductId: "white-closed-2kg", Offered: 36, Ordered: 60, Matched: 36, MoreWorthMinor: 900, WorthMinorPerKg: 450, Likely: 40, Said: 44, PooledGainGrams: 3_400},
		},
		Lines: []*orderv1.MatchLine{
			{OrderId: "copper-pan-20261126", CustomerId: "copper-pan", ProductId: "oyster-1kg", Ordered: 12, Matched: 12},
			{OrderId: "copper-pan-20261126", CustomerId: "copper-pan", ProductId: "white-closed-2kg", Ordered: 30, Matched: 30},
			{OrderId: "harbour-light-20261126", CustomerId: "harbour-light", ProductId: "oyster-1kg", Ordered: 12, Matched: 12},
			{
				OrderId: "harbour-light-20261126", CustomerId: "harbour-light", ProductId: "white-closed-2kg", Ordered: 30, Matched: 6,
				Reason: orderv1.ShortReason_SHORT_REASON_HIGHER_CLASS, Explanation: "30 of the 36 packs offered went to customers of a higher class.",
				Binds: []*orderv1.Bind{{Reason: orderv1.ShortReason_SHORT_REASON_HIGHER_CLASS, Packs: 20}, {Reason: orderv1.ShortReason_SHORT_REASON_NOT_PROMISED, Packs: 4}},
			},
		},
		Allocations: []*orderv1.Allocation{
			allocation("copper-pan", "white-closed-2kg", "alder-brook-1", "alder-brook", 30),
			allocation("harbour-light", "white-closed-2kg", "alder-brook-1", "alder-brook", 6),
			allocation("copper-pan", "oyster-1kg", "birch-hollow-1", "birch-hollow", 12),
			allocation("harbour-light", "oyster-1kg", "birch-hollow-1", "birch-hollow", 12),
		},
		Farms: []*orderv1.MatchFarm{{FarmId: "alder-brook", Offered: 36, Matched: 36}, {FarmId: "birch-hollow", Offered: 40, Matched: 24}},
		Proof: &orderv1.Proof{Nodes: 12, Arcs: 20, Verified: true, SolveMicros: 80, GapMinor: []int64{0, 250}}, SupplyAsOf: at(Today, 13),
	}
	c.fillTrace()
}

func allocation(customer, product, room, farm string, packs int64) *orderv1.Allocation {
	return &orderv1.Allocation{
		OrderId: customer + "-20261126", CustomerId: customer, ProductId: product, PickLotId: lotCode(room, product, Tomorrow), FarmId: farm, RoomId: room, Packs: packs,
	}
}

func (c *Coop) fillTrace() {
	compost := &harvestv1.CompostTrace{CompostLotId: "quarry-end-26-37", YardId: "quarry-end", SlotId: "quarry-end-20261001", DeliveredKg: 22000, DeliveredDate: "2026-10-01", ReleasedBy: "Hugh"}
	c.Trace = &orderv1.TraceForwardResponse{Compost: compost}
	for _, crop := range c.Crops[:2] {
		c.Trace.Crops = append(c.Trace.Crops, &harvestv1.CropTrace{CropId: crop.CropId, RoomId: crop.RoomId, FarmId: crop.FarmId, Compost: []*harvestv1.CompostTrace{compost}})
	}
	for _, l := range []struct{ room, crop, product string }{
		{"alder-brook-1", "alder-brook-1-20261001", "white-closed-2kg"}, {"alder-brook-2", "alder-brook-2-20261003", "brown-closed-2kg"},
	} {
		c.Trace.PickLots = append(c.Trace.PickLots, &harvestv1.PickLot{
			PickLotId: lotCode(l.room, l.product, Today), FarmId: "alder-brook", RoomId: l.room, CropId: l.crop, ProductId: l.product, Date: Today,
			NetGrams: 60_000, CompostLotIds: []string{compost.CompostLotId}, Version: 1,
		})
	}
	for i := range 30 {
		customer := c.Customers[i%2].CustomerId
		c.Trace.Packs = append(c.Trace.Packs, &orderv1.Pack{
			PackId: fmt.Sprintf("ab-1125-%03d", i+1), PickLotId: c.Trace.PickLots[0].PickLotId, ProductId: "white-closed-2kg", FarmId: "alder-brook",
			CustomerId: customer, OrderId: customer + "-20261125", DeliveryDate: Today, State: orderv1.DeliveryState_DELIVERY_STATE_DISPATCHED,
		})
	}
}

func (c *Coop) fillYard() {
	c.Yards = []*compostlotv1.Yard{{YardId: "quarry-end", Name: "Quarry End Yard", Place: "Daingean"}}
	c.Slots = []*compostlotv1.Slot{
		slot("quarry-end-20261130", "2026-11-30", 40000, 4000, compostlotv1.SlotState_SLOT_STATE_SHARED),
		slot("quarry-end-20261207", "2026-12-07", 40000, 40000, compostlotv1.SlotState_SLOT_STATE_OPEN),
	}
	c.Requests = []*compostlotv1.CompostRequest{
		ask("alder-brook-3-20261207", "alder-brook", "alder-brook-3", 30000, "2026-12-07", "2026-12-09"),
		ask("birch-hollow-1-20261207", "birch-hollow", "birch-hollow-1", 22000, "2026-12-07", "2026-12-10"),
	}
	c.Reports = []*compostlotv1.LotReport{report("quarry-end-26-41", true), report("quarry-end-26-42", false)}
	c.fillLog()
	c.fillRecipes()
	c.fillSharing()
	c.fillReleaseRules()
}

func slot(id, ready string, capacity, free int64, state compostlotv1.SlotState) *compostlotv1.Slot {
	return &compostlotv1.Slot{
		SlotId: id, YardId: "quarry-end", ReadyDate: ready, Phase: typev1.CompostPhase_COMPOST_PHASE_TWO, CapacityKg: capacity, SmallestLotKg: 5000,
		PriceMinorPerTonne: 16000, RequestCutoff: at(Tomorrow, 12), State: state, FreeKg: free, Etag: "1",
	}
}

func ask(id, farm, room string, kg int64, first, last string) *compostlotv1.CompostRequest {
	return &compostlotv1.CompostRequest{
		CompostRequestId: id, FarmId: farm, RoomId: room, WantedKg: kg, SmallestUsefulKg: 12000, EarliestDate: first, LatestDate: last,
		Phases: []typev1.CompostPhase{typev1.CompostPhase_COMPOST_PHASE_TWO}, Etag: "1",
	}
}

func report(id string, proven bool) *compostlotv1.LotReport {
	r := &compostlotv1.LotReport{
		Lot: &compostlotv1.Lot{
			LotId: id, YardId: "quarry-end", SlotId: "quarry-end-20261130", Phase: typev1.CompostPhase_COMPOST_PHASE_TWO, StartedDate: "2026-11-03",
			MadeKg: 40000, RemainingKg: 40000, State: compostlotv1.LotState_LOT_STATE_OPEN, Version: 1, Etag: "1",
		},
		Yard: &compostlotv1.Yard{YardId: "quarry-end", Name: "Quarry End Yard"}, Readings: 1440, Proven: proven,
		Marks:   []*compostlotv1.MarkedPhase{{LotId: id, Mark: compostlotv1.PhaseMark_PHASE_MARK_FILLED, Time: at("2026-11-14", 8)}, {LotId: id, Mark: compostlotv1.PhaseMark_PHASE_MARK_PASTEURISING, Time: at("2026-11-15", 8)}},
		Caution: "Ammonia can kill within minutes: measure before you go in, never go in alone. Local codes and licensed practice decide.",
		Criteria: []*compostlotv1.CriterionResult{
			{CriterionId: "pasteurisation-compost", Requirement: "Every compost probe at 58 to 62 °C for 4 h", Finding: compostlotv1.Finding_FINDING_MET, Explanation: "Probe p02 was the last: 4 h 12 min.", Source: "common practice, no source"},
			{CriterionId: "ammonia", Requirement: "Ammonia below 10 ppm after cooling", Finding: compostlotv1.Finding_FINDING_MET, Explanation: "Last reading 4 ppm.", Source: "common practice, no source"},
		},
	}
	if !proven {
		r.Criteria[1].Finding, r.Criteria[1].Explanation = compostlotv1.Finding_FINDING_NOT_PROVEN, "No reading after cooling: measure again."
	}
	return r
}
