package server_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
)

func (r *rig) settle(t testing.TB, rule compostlotv1.ShareRule, weights compostlotv1.ShareWeights, etag string) *compostlotv1.ShareSettings {
	t.Helper()
	return must[*compostlotv1.ShareSettings](t)(r.SaveShareSettings(r.office(t), &compostlotv1.SaveShareSettingsRequest{
		RequestId: ids.New(), Settings: &compostlotv1.ShareSettings{Rule: rule, Weights: weights, HaulMinorPerTonneKm: 15, Etag: etag},
	}))
}

// 100 kg among claims of 100, 200 and 300. Constrained equal awards gives 33 1/3 each and the
// proportional rule 16 2/3, 33 1/3, 50 (Thomson, How to Divide When There Isn't Enough, 2019;
// Aumann and Maschler, J. Econ. Theory 36, 1985, use the same estate and claims): to whole
// kilograms, of equal remainders the farm first in order. Weights are off, then on.
func TestRuleAndWeightsAreSettings(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.publish(t, slot("s1", "2026-03-20", 100))
	r.ask(t, asks("a", "alder-1", 100, "2026-03-20", "2026-03-20"), asks("b", "birch-1", 200, "2026-03-20", "2026-03-20"), asks("c", "cedar-1", 300, "2026-03-20", "2026-03-20"))
	begins := must[*compostlotv1.ShareSettings](t)(r.GetShareSettings(r.office(t), &compostlotv1.GetShareSettingsRequest{}))
	if begins.GetRule() != compostlotv1.ShareRule_SHARE_RULE_SATISFIED_SHARE || begins.GetEtag() != "" {
		t.Errorf("a co-op begins with %v", begins)
	}
	etag := ""
	for _, c := range []struct {
		rule    compostlotv1.ShareRule
		weights compostlotv1.ShareWeights
		want    map[string]int64
	}{
		{1, 2, map[string]int64{"a": 17, "b": 33, "c": 50}},
		{2, 2, map[string]int64{"a": 34, "b": 33, "c": 33}},
		{2, 1, map[string]int64{"a": 25, "b": 25, "c": 50}}, // Cedar has two shares
		{1, 1, map[string]int64{"a": 11, "b": 22, "c": 67}}, // 100 : 200 : 600 of 900
	} {
		saved := r.settle(t, c.rule, c.weights, etag)
		etag = saved.GetEtag()
		round := must[*compostlotv1.Round](t)(r.ShareOut(r.office(t), march(false)))
		if diff := cmp.Diff(c.want, granted(round.GetShares())); diff != "" || round.GetRule() != c.rule || round.GetWeights() != c.weights {
			t.Errorf("%v by %v (-want +got):\n%s", c.rule, c.weights, diff)
		}
	}
	_, err := r.SaveShareSettings(r.office(t), &compostlotv1.SaveShareSettingsRequest{RequestId: ids.New(), Settings: &compostlotv1.ShareSettings{Rule: 1, Weights: 2, Etag: "v1"}})
	refused(t, err, fault.Stale, "CHANGED_MEANWHILE", "settings.etag")
}

// Between equally fair ways the cheapest haul is taken, by cost or by distance and rate.
func TestCheapestHaul(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	near, far := slot("a-far", "2026-03-20", 50), slot("b-near", "2026-03-20", 50)
	far.YardId, near.YardId = "mill", "quarry"
	r.publish(t, near, far)
	r.ask(t, asks("a", "alder-1", 50, "2026-03-20", "2026-03-20"), asks("b", "birch-1", 50, "2026-03-20", "2026-03-20"))
	r.settle(t, 1, 1, "")
	cost := func(yard, farm string, minor int64) *compostlotv1.HaulCost {
		return &compostlotv1.HaulCost{YardId: yard, FarmId: farm, By: &compostlotv1.HaulCost_MinorPerTonne{MinorPerTonne: minor}}
	}
	saved := must[*compostlotv1.SaveHaulCostsResponse](t)(r.SaveHaulCosts(r.office(t), &compostlotv1.SaveHaulCostsRequest{RequestId: ids.New(), HaulCosts: []*compostlotv1.HaulCost{
		cost("quarry", "alder", 5000), {YardId: "mill", FarmId: "alder", By: &compostlotv1.HaulCost_DistanceKm{DistanceKm: 20}}, cost("quarry", "birch", 100),
		cost("mill", "birch", 6000),
	}}))
	if got := saved.GetHaulCosts()[1].GetCostMinorPerTonne(); got != 300 {
		t.Errorf("20 km at 15 a kilometre cost %d, want 300", got)
	}
	r.changeHaul(t, saved.GetHaulCosts()[0])
	round := must[*compostlotv1.Round](t)(r.ShareOut(r.office(t), march(false)))
	got := map[string]string{}
	for _, s := range round.GetShares() {
		got[s.GetCompostRequestId()] = s.GetSlots()[0].GetSlotId()
	}
	// 0.05 t at 300 and 0.05 t at 100.
	if diff := cmp.Diff(map[string]string{"a": "b-near", "b": "a-far"}, got); diff != "" || round.GetHaulCostMinor() != 20 {
		t.Errorf("haul of %d (-want +got):\n%s", round.GetHaulCostMinor(), diff)
	}
	_, err := r.SaveHaulCosts(r.office(t), &compostlotv1.SaveHaulCostsRequest{RequestId: ids.New(), HaulCosts: []*compostlotv1.HaulCost{cost("quarry", "alder", 1), cost("quarry", "elm", 1)}})
	refused(t, err, fault.Invalid, "", "haul_costs[1].farm_id")
	_, err = r.SaveHaulCosts(r.office(t), &compostlotv1.SaveHaulCostsRequest{RequestId: ids.New(), HaulCosts: []*compostlotv1.HaulCost{cost("quarry", "alder", 1), cost("quarry", "alder", 2)}})
	refused(t, err, fault.Invalid, "", "haul_costs[1].farm_id")
	if n := len(must[*compostlotv1.ListHaulCostsResponse](t)(r.ListHaulCosts(r.office(t), &compostlotv1.ListHaulCostsRequest{})).GetHaulCosts()); n != 4 {
		t.Errorf("%d costs", n)
	}
}

// changeHaul changes a cost of haul and puts it back: only who has read the newest may.
func (r *rig) changeHaul(t *testing.T, read *compostlotv1.HaulCost) {
	t.Helper()
	save := func(minor int64, etag string) (*compostlotv1.SaveHaulCostsResponse, error) {
		return r.SaveHaulCosts(r.office(t), &compostlotv1.SaveHaulCostsRequest{RequestId: ids.New(), HaulCosts: []*compostlotv1.HaulCost{
			{YardId: read.GetYardId(), FarmId: read.GetFarmId(), By: &compostlotv1.HaulCost_MinorPerTonne{MinorPerTonne: minor}, Etag: etag},
		}})
	}
	was := read.GetMinorPerTonne()
	if same := must[*compostlotv1.SaveHaulCostsResponse](t)(save(was, "")); same.GetHaulCosts()[0].GetEtag() != read.GetEtag() {
		t.Errorf("saved as it is: %v, read %v", same, read)
	}
	next := must[*compostlotv1.SaveHaulCostsResponse](t)(save(was+1, read.GetEtag())).GetHaulCosts()[0]
	for _, stale := range []string{"", read.GetEtag()} {
		_, err := save(was+2, stale)
		refused(t, err, fault.Stale, "CHANGED_MEANWHILE", "haul_costs[0].etag")
	}
	must[*compostlotv1.SaveHaulCostsResponse](t)(save(was, next.GetEtag()))
	_, err := r.SaveHaulCosts(r.office(t), &compostlotv1.SaveHaulCostsRequest{RequestId: ids.New(), HaulCosts: []*compostlotv1.HaulCost{
		{YardId: read.GetYardId(), FarmId: "cedar", By: &compostlotv1.HaulCost_DistanceKm{DistanceKm: 5}, Etag: "v1"},
	}})
	refused(t, err, fault.Invalid, "", "haul_costs[0].etag")
}

// What a farm would get by widening: it is told, and nothing changes.
func TestWhatIfWider(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.publish(t, slot("s1", "2026-03-20", 100), slot("s2", "2026-03-24", 80))
	r.ask(t, asks("a", "alder-1", 100, "2026-03-20", "2026-03-20"), asks("b", "birch-1", 100, "2026-03-20", "2026-03-20"))
	share := must[*compostlotv1.Round](t)(r.ShareOut(r.office(t), march(false))).GetShares()[0]
	if share.GetGrantedKg() != 50 || len(share.GetWider()) != 1 || share.GetWider()[0].GetSlotId() != "s2" || !strings.Contains(share.GetExplanation(), "wider window") {
		t.Errorf("share %v", share)
	}
	ask := &compostlotv1.WhatIfWiderRequest{FromDate: "2026-03-01", ToDate: "2026-03-31", CompostRequestId: "a", EarliestDate: "2026-03-20", LatestDate: "2026-03-24"}
	wider := must[*compostlotv1.Share](t)(r.WhatIfWider(r.as(t, identity.Grower, "alder"), ask))
	if wider.GetGrantedKg() != 90 {
		t.Errorf("with four days more it gets %v, want 90 kg: 180 kg for two alike", wider)
	}
	_, err := r.WhatIfWider(r.as(t, identity.Grower, "birch"), ask)
	refused(t, err, fault.Forbidden, "NOT_YOURS", "compost_request_id")
	if s := r.slots(t); s[0].GetFreeKg() != 100 || s[1].GetFreeKg() != 80 {
		t.Errorf("slots %v", s)
	}
	must[*compostlotv1.Round](t)(r.ShareOut(r.office(t), march(true)))
	_, err = r.WhatIfWider(r.office(t), ask)
	refused(t, err, fault.Precondition, "REQUEST_GRANTED", "compost_request_id")
}

// A withdrawn slot undoes the shares that have a part of it: what they had elsewhere is free
// again, they wait, and the proposal is what the next round then gives.
func TestWithdrawSlot(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.publish(t, slot("s1", "2026-03-20", 60), slot("s2", "2026-03-22", 100), slot("s3", "2026-03-24", 70))
	r.ask(t, asks("a", "alder-1", 100, "2026-03-20", "2026-03-24"), asks("b", "birch-1", 40, "2026-03-22", "2026-03-22"))
	round := march(true)
	round.ToDate = "2026-03-22"
	got := granted(must[*compostlotv1.Round](t)(r.ShareOut(r.office(t), round)).GetShares())
	if diff := cmp.Diff(map[string]int64{"a": 100, "b": 40}, got); diff != "" {
		t.Fatalf("round (-want +got):\n%s", diff)
	}
	r.ask(t, asks("c", "cedar-1", 10, "2026-03-20", "2026-03-22"))
	req := &compostlotv1.WithdrawSlotRequest{RequestId: ids.New(), SlotId: "s1", Notice: "straw came wet"}
	_, err := r.WithdrawSlot(r.as(t, identity.YardManager, "mill"), req)
	refused(t, err, fault.Forbidden, "NOT_YOURS", "slot_id")
	req.Etag = "v1"
	_, err = r.WithdrawSlot(r.office(t), req)
	refused(t, err, fault.Precondition, "CHANGED_MEANWHILE", "etag")
	req.Etag = ""
	answer := must[*compostlotv1.WithdrawSlotResponse](t)(r.WithdrawSlot(r.as(t, identity.YardManager, "quarry"), req))
	lost := map[string]int64{}
	for _, a := range answer.GetAffected() {
		lost[a.GetCompostRequestId()] = a.GetLostKg()
		if a.GetProposal().GetGrantedKg() == 0 {
			t.Errorf("no proposal for %v", a)
		}
	}
	if diff := cmp.Diff(map[string]int64{"a": 100, "c": 0}, lost); diff != "" {
		t.Errorf("affected (-want +got):\n%s", diff)
	}
	events := r.events(t)
	told := events[len(events)-1]
	if told.Subject != "slot.withdrawn" || len(told.Payload.(*compostlotv1.SlotWithdrawn).GetAffected()) != 2 {
		t.Errorf("told %v", told)
	}
	if s := r.slots(t); s[0].GetState() != compostlotv1.SlotState_SLOT_STATE_WITHDRAWN || s[0].GetFreeKg() != 0 || s[0].GetWithdrawalNotice() != "straw came wet" || s[1].GetFreeKg() != 60 {
		t.Errorf("slots %v", s)
	}
	own := must[*compostlotv1.ListCompostRequestsResponse](t)(r.ListCompostRequests(r.as(t, identity.Grower, "alder"), &compostlotv1.ListCompostRequestsRequest{}))
	share := own.GetShares()[0]
	if share.GetGrantedKg() != 0 || share.GetLimit() != compostlotv1.ShareLimit_SHARE_LIMIT_SLOT_WITHDRAWN || !strings.Contains(share.GetExplanation(), "straw came wet") {
		t.Errorf("share %v", share)
	}
	// Only a new round gives: what was proposed.
	next := must[*compostlotv1.Round](t)(r.ShareOut(r.office(t), march(true)))
	for _, a := range answer.GetAffected() {
		for _, s := range next.GetShares() {
			if s.GetCompostRequestId() != a.GetCompostRequestId() {
				continue
			}
			if diff := cmp.Diff(a.GetProposal(), s, protocmp.Transform()); diff != "" {
				t.Errorf("the round differs from the proposal:\n%s", diff)
			}
		}
	}
	_, err = r.WithdrawSlot(r.office(t), &compostlotv1.WithdrawSlotRequest{RequestId: ids.New(), SlotId: "s1", Notice: "again"})
	refused(t, err, fault.Precondition, "SLOT_WITHDRAWN", "slot_id")
	lot := phaseTwo("quarry-7", 100)
	lot.SlotId = "s1"
	_, err = r.OpenLot(r.office(t), &compostlotv1.OpenLotRequest{RequestId: ids.New(), Lot: lot})
	refused(t, err, fault.Invalid, "", "lot.slot_id")
	lot.SlotId = "s2"
	r.open(t, lot)
	_, err = r.WithdrawSlot(r.office(t), &compostlotv1.WithdrawSlotRequest{RequestId: ids.New(), SlotId: "s2", Notice: "no"})
	refused(t, err, fault.Precondition, "LOT_MADE_FOR_SLOT", "slot_id")
}

// Every other Tuesday, with the cut-off at the same time of day in Dublin on both sides of the
// change to summer time on 29 March 2026.
func TestSlotSeries(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	first := slot("quarry-two", "2026-03-17", 40_000)
	first.RequestCutoff = timestamppb.New(time.Date(2026, 3, 10, 17, 0, 0, 0, time.UTC))
	series := func() *compostlotv1.PublishSlotSeriesRequest {
		return &compostlotv1.PublishSlotSeriesRequest{
			RequestId: ids.New(), First: first, Rule: "FREQ=WEEKLY;INTERVAL=2;BYDAY=TU", ThroughDate: "2026-05-01", ExceptDates: []string{"2026-03-31"},
		}
	}
	got := must[*compostlotv1.PublishSlotsResponse](t)(r.PublishSlotSeries(r.office(t), series()))
	var days []string
	for _, s := range got.GetSlots() {
		days = append(days, s.GetSlotId()+" "+s.GetRequestCutoff().AsTime().Format(time.RFC3339))
	}
	want := []string{"quarry-two-20260317 2026-03-10T17:00:00Z", "quarry-two-20260414 2026-04-07T16:00:00Z", "quarry-two-20260428 2026-04-21T16:00:00Z"}
	if diff := cmp.Diff(want, days); diff != "" {
		t.Errorf("series (-want +got):\n%s", diff)
	}
	for name, c := range map[string]struct {
		change func(*compostlotv1.PublishSlotSeriesRequest)
		field  string
	}{
		"no rule":      {func(m *compostlotv1.PublishSlotSeriesRequest) { m.Rule = "every week" }, "rule"},
		"by the hour":  {func(m *compostlotv1.PublishSlotSeriesRequest) { m.Rule = "FREQ=HOURLY" }, "rule"},
		"another day":  {func(m *compostlotv1.PublishSlotSeriesRequest) { m.Rule = "FREQ=WEEKLY;BYDAY=WE" }, "first.ready_date"},
		"backwards":    {func(m *compostlotv1.PublishSlotSeriesRequest) { m.ThroughDate = "2026-03-01" }, "through_date"},
		"without end":  {func(m *compostlotv1.PublishSlotSeriesRequest) { m.Rule, m.ThroughDate = "FREQ=DAILY", "2199-01-01" }, "through_date"},
		"not its day":  {func(m *compostlotv1.PublishSlotSeriesRequest) { m.ExceptDates = []string{"2026-03-18"} }, "except_dates"},
		"one is taken": {func(m *compostlotv1.PublishSlotSeriesRequest) {}, "first.slot_id"},
		"unknown yard": {func(m *compostlotv1.PublishSlotSeriesRequest) {
			m.First = slot("x", "2026-03-17", 1)
			m.First.YardId = "hill"
		}, "first.yard_id"},
	} {
		req := series()
		c.change(req)
		_, err := r.PublishSlotSeries(r.office(t), req)
		kind := fault.Invalid
		if name == "one is taken" {
			kind = fault.Exists
		}
		t.Run(name, func(t *testing.T) { refused(t, err, kind, "", c.field) })
	}
	if n := len(r.slots(t)); n != 3 {
		t.Errorf("%d slots after refusals", n)
	}
}

// A planned crop asks for what its plan needs.
func TestRequestForCrop(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	ask := &compostlotv1.RequestForCropRequest{
		RequestId: ids.New(), CropId: "alder-1-20260320", DaysEarly: 1, DaysLate: 3, SmallestUsefulKg: 15_000,
		OtherPhases: []typev1.CompostPhase{typev1.CompostPhase_COMPOST_PHASE_THREE},
	}
	_, err := r.RequestForCrop(r.as(t, identity.Grower, "birch"), ask)
	refused(t, err, fault.Forbidden, "NOT_YOURS", "crop_id")
	got := must[*compostlotv1.CompostRequest](t)(r.RequestForCrop(r.as(t, identity.Grower, "alder"), ask))
	want := &compostlotv1.CompostRequest{
		CompostRequestId: "alder-1-20260320", FarmId: "alder", RoomId: "alder-1", CropId: "alder-1-20260320", WantedKg: 20_000, SmallestUsefulKg: 15_000,
		EarliestDate: "2026-03-19", LatestDate: "2026-03-23", Etag: "v1",
		Phases: []typev1.CompostPhase{typev1.CompostPhase_COMPOST_PHASE_TWO, typev1.CompostPhase_COMPOST_PHASE_THREE},
	}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("request (-want +got):\n%s", diff)
	}
	_, err = r.RequestForCrop(r.office(t), &compostlotv1.RequestForCropRequest{RequestId: ids.New(), CropId: "alder-9-20260320"})
	refused(t, err, fault.NotFound, "UNKNOWN_CROP", "crop_id")
}
