package server_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// quarter is a rig with four bulk rooms on two farms, slots for eight weeks and
// twelve weeks of orders.
func quarter(t testing.TB) *rig {
	t.Helper()
	r := newRig(t)
	r.settle(t)
	r.trade(t)
	var rooms []*schedulingv1.Room
	for _, id := range []string{"elm-end-2", "elm-end-3", "gorse-hill-2"} {
		rooms = append(rooms, room(id, id[:len(id)-2], typev1.GrowingSystem_GROWING_SYSTEM_BULK_PHASE_TWO))
	}
	must[*schedulingv1.BatchSaveRoomsResponse](t)(r.BatchSaveRooms(r.office(t), &schedulingv1.BatchSaveRoomsRequest{RequestId: ids.New(), Rooms: rooms}))
	for week := range 8 {
		day := shifted(t, "2026-03-10", 7*week) // Tuesdays
		r.hear(t, slot(fmt.Sprintf("quarry-%d", week), "quarry-end", day, phaseII, 25_000), slot(fmt.Sprintf("moss-%d", week), "moss-side", day, phaseII, 20_000))
	}
	return r
}

// propose reads a stream to its end.
func (r *rig) propose(t testing.TB, req *schedulingv1.ProposeFillsRequest) ([]*schedulingv1.Proposal, error) {
	t.Helper()
	ctx, stop := context.WithTimeout(r.office(t), time.Minute)
	defer stop()
	stream, err := r.ProposeFills(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	var out []*schedulingv1.Proposal
	for {
		p, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
}

func (r *rig) lastProposal(t testing.TB, req *schedulingv1.ProposeFillsRequest) *schedulingv1.Proposal {
	t.Helper()
	all := must[[]*schedulingv1.Proposal](t)(r.propose(t, req))
	last := all[len(all)-1]
	for i, p := range all {
		if p.GetFinal() != (i == len(all)-1) {
			t.Errorf("proposal %d of %d: final %v", i+1, len(all), p.GetFinal())
		}
		if p.GetBoundMinor() > p.GetCostMinor()+p.GetWishMinor()+1 {
			t.Errorf("bound %d above cost %d with wishes %d", p.GetBoundMinor(), p.GetCostMinor(), p.GetWishMinor())
		}
	}
	return last
}

// The cost stated is the cost of what is shown: shortage and surplus by kind and
// week at the products' prices, and the fills (fillplan-1, "Cost").
func TestProposalAddsUp(t *testing.T) {
	t.Parallel()
	r := quarter(t)
	p := r.lastProposal(t, &schedulingv1.ProposeFillsRequest{Weeks: 20, Seconds: 2})
	if len(p.GetFills()) == 0 || p.GetFirstWeek() != "2026-03-09" || p.GetCurrencyCode() != "EUR" {
		t.Fatalf("proposal %v", p)
	}
	perKg := map[string]int64{"white mushroom": 450, "oyster mushroom": 1100} // 900 for 2 kg, 1100 for 1 kg
	var short, fills int64
	for _, k := range p.GetKinds() {
		for _, w := range k.GetWeeks() {
			supply := w.GetCommittedGrams() + w.GetProposedGrams()
			if w.GetShortGrams() != max(0, w.GetDemandGrams()-supply) || w.GetOverGrams() != max(0, supply-w.GetDemandGrams()) {
				t.Errorf("%s in %s does not add up: %v", k.GetKind().GetSpecies(), w.GetWeek(), w)
			}
			short += w.GetShortGrams() * perKg[k.GetKind().GetSpecies()]
		}
	}
	for _, f := range p.GetFills() {
		fills += f.GetCostMinor()
	}
	if got := (short + 500) / 1000; got != p.GetShortMinor() || p.GetOverMinor() != 0 || p.GetFillMinor() != fills ||
		(short+1000*fills+500)/1000 != p.GetCostMinor() {
		t.Errorf("cost %d of %d short, %d over, %d for fills; computed %d and %d", p.GetCostMinor(), p.GetShortMinor(), p.GetOverMinor(), p.GetFillMinor(), got, fills)
	}
	used := map[string]int64{}
	for _, f := range p.GetFills() {
		used[f.GetWeek()] += f.GetCompostGrams() / 1000
		for _, m := range []*schedulingv1.FillMove{f.GetEarlier(), f.GetLater()} {
			if m.GetPossible() == (m.GetReason() != "") || strings.Contains(m.GetReason(), "{") {
				t.Errorf("move of %s to %s: %v", f.GetRoomId(), m.GetWeek(), m)
			}
		}
		if f.GetWithoutMinor() < 0 || len(f.GetServes()) == 0 || f.GetLater() == nil {
			t.Errorf("fill %v is not explained", f)
		}
		if w := parse(t, f.GetFillDate()); w.Weekday() != time.Tuesday && f.GetWeek() < "2026-05-04" {
			t.Errorf("filled on a %s, the compost is ready on Tuesdays", w.Weekday())
		}
	}
	for _, y := range p.GetYard() {
		if used[y.GetWeek()] > y.GetCapacityKg() || y.GetReckoned() != (y.GetWeek() > "2026-04-28") {
			t.Errorf("yard %v, used %d", y, used[y.GetWeek()])
		}
	}
	if len(p.GetFarms()) != 2 || p.GetFarms()[0].GetGrams()+p.GetFarms()[1].GetGrams() == 0 || p.GetFarms()[0].GetPeakMinutes() == 0 || len(p.GetNotes()) == 0 {
		t.Errorf("farms %v, notes %v", p.GetFarms(), p.GetNotes())
	}
}

func TestPinsForbidsAndRefusals(t *testing.T) {
	t.Parallel()
	r := quarter(t)
	choice := func(room, week string) *schedulingv1.FillChoice {
		return &schedulingv1.FillChoice{RoomId: room, ProgrammeId: "white-bulk-2", Week: week}
	}
	free := r.lastProposal(t, &schedulingv1.ProposeFillsRequest{Weeks: 16, Seconds: 1})
	first := free.GetFills()[0]
	forbid := &schedulingv1.FillChoice{RoomId: first.GetRoomId(), ProgrammeId: first.GetProgrammeId(), Week: first.GetWeek()}
	bent := r.lastProposal(t, &schedulingv1.ProposeFillsRequest{
		Weeks: 16, Seconds: 1, Pins: []*schedulingv1.FillChoice{choice("gorse-hill-2", "2026-04-13")}, Forbids: []*schedulingv1.FillChoice{forbid},
	})
	pinned := false
	for _, f := range bent.GetFills() {
		pinned = pinned || (f.GetPinned() && f.GetRoomId() == "gorse-hill-2" && f.GetWeek() == "2026-04-13")
		if f.GetRoomId() == forbid.GetRoomId() && f.GetWeek() == forbid.GetWeek() && f.GetProgrammeId() == forbid.GetProgrammeId() {
			t.Errorf("proposes what is forbidden: %v", f)
		}
	}
	if !pinned {
		t.Errorf("the pin is not kept: %v", bent.GetFills())
	}
	for name, c := range map[string]struct {
		req   *schedulingv1.ProposeFillsRequest
		kind  fault.Kind
		field string
	}{
		"room":      {&schedulingv1.ProposeFillsRequest{Pins: []*schedulingv1.FillChoice{choice("nowhere", "2026-03-16")}}, fault.Invalid, "pins[0].room_id"},
		"system":    {&schedulingv1.ProposeFillsRequest{Pins: []*schedulingv1.FillChoice{choice("elm-end-1", "2026-03-16")}}, fault.Invalid, "pins[0].programme_id"},
		"week":      {&schedulingv1.ProposeFillsRequest{Forbids: []*schedulingv1.FillChoice{choice("elm-end-2", "2028-01-03")}}, fault.Invalid, "forbids[0].week"},
		"no Monday": {&schedulingv1.ProposeFillsRequest{Pins: []*schedulingv1.FillChoice{choice("elm-end-2", "2026-03-17")}}, fault.Invalid, "pins[0].week"},
		"twice": {&schedulingv1.ProposeFillsRequest{Pins: []*schedulingv1.FillChoice{choice("elm-end-2", "2026-03-16"), choice("elm-end-2", "2026-03-23")}},
			fault.Precondition, "pins"},
		"past": {&schedulingv1.ProposeFillsRequest{FirstWeek: "2026-02-23"}, fault.Invalid, "first_week"},
	} {
		_, err := r.propose(t, c.req)
		if f := fault.FromStatus(err); f == nil || f.Kind != c.kind || len(f.Fields) == 0 || f.Fields[0].Path != c.field {
			t.Errorf("%s: %v, want %s at %s", name, err, c.kind, c.field)
		}
	}
}

// accept turns a proposal into what accepts it.
func accept(p *schedulingv1.Proposal) *schedulingv1.AcceptFillsRequest {
	req := &schedulingv1.AcceptFillsRequest{RequestId: ids.New()}
	for _, f := range p.GetFills() {
		if f.GetCropId() == "" {
			req.Fills = append(req.Fills, fill(f.GetRoomId(), f.GetProgrammeId(), f.GetFillDate()))
		}
	}
	for _, d := range p.GetDropped() {
		req.CallOffs = append(req.CallOffs, &schedulingv1.CallOff{CropId: d.GetCropId(), Etag: d.GetEtag()})
	}
	return req
}

// A proposal can be accepted as it is, each crop is told of once, and planning
// anew with a price on changes leaves the accepted plan as it was.
func TestAcceptedPlanStands(t *testing.T) {
	t.Parallel()
	r := quarter(t)
	p := r.lastProposal(t, &schedulingv1.ProposeFillsRequest{Weeks: 16, Seconds: 1})
	req := accept(p)
	before := len(r.events(t))
	answer := must[*schedulingv1.AcceptFillsResponse](t)(r.AcceptFills(r.office(t), req))
	again := must[*schedulingv1.AcceptFillsResponse](t)(r.AcceptFills(r.office(t), req))
	diff(t, "the same request again", answer, again, protocmp.Transform())
	if len(answer.GetCrops()) != len(p.GetFills()) {
		t.Fatalf("%d crops of %d fills", len(answer.GetCrops()), len(p.GetFills()))
	}
	want := map[string]int{}
	for i, c := range answer.GetCrops() {
		want["crop.planned "+c.GetCropId()] = 1
		if f := p.GetFills()[i]; c.GetFillDate() != f.GetFillDate() || c.GetFirstPickDate() != f.GetFirstPickDate() || c.GetFreeDate() != f.GetFreeDate() {
			t.Errorf("planned %v, proposed %v", c, f)
		}
	}
	diff(t, "told", want, count(r.events(t)[before:]))

	must[*schedulingv1.PlanningSettings](t)(r.SavePlanningSettings(r.office(t), &schedulingv1.SavePlanningSettingsRequest{
		RequestId: ids.New(), Settings: &schedulingv1.PlanningSettings{ChangeMinorPerFill: proto.Int64(100_000_000)},
	}))
	anew := r.lastProposal(t, &schedulingv1.ProposeFillsRequest{Weeks: 16, Seconds: 1, Replan: true})
	if len(anew.GetDropped()) > 0 {
		t.Errorf("drops %v at any price", anew.GetDropped())
	}
	kept := 0
	for _, f := range anew.GetFills() {
		if f.GetCropId() != "" {
			kept++
		}
	}
	if kept != len(answer.GetCrops()) {
		t.Errorf("keeps %d of %d accepted fills", kept, len(answer.GetCrops()))
	}
}

// A plan accepted half-way never exists: one bad fill, or tonnes beyond the yards',
// and nothing of it is kept or told.
func TestNothingIsAcceptedHalfWay(t *testing.T) {
	t.Parallel()
	r := quarter(t)
	standing := r.plan(t, fill("elm-end-3", "white-bulk-2", "2026-05-05"))
	crops := cropIDs(r.calendar(t, "2026-01-01", "2026-12-31", ""))
	before := len(r.events(t))
	try := func(offs []*schedulingv1.CallOff, fills ...*schedulingv1.CropPlan) error {
		_, err := r.AcceptFills(r.office(t), &schedulingv1.AcceptFillsRequest{RequestId: ids.New(), Fills: fills, CallOffs: offs})
		return err
	}
	off := []*schedulingv1.CallOff{{CropId: standing.GetCropId(), Etag: standing.GetEtag()}}
	good := fill("elm-end-2", "white-bulk-2", "2026-03-10")
	// 200 m² take 19,860 kg; the two yards give 45,000 kg a week: two rooms, not three.
	err := try(off, good, fill("gorse-hill-1", "white-bulk-2", "2026-03-11"), fill("gorse-hill-2", "white-bulk-2", "2026-03-12"))
	if f := refused(t, err, fault.Precondition, "OVER_THE_YARDS_TONNES", "fills[0].fill_date"); f.Meta["needKg"] != "59580" || f.Meta["capacityKg"] != "45000" {
		t.Errorf("refused with %v", f.Meta)
	}
	refused(t, try(off, good, fill("elm-end-2", "white-bulk-2", "2026-03-24")), fault.Precondition, "ROOM_TAKEN", "fills[1].fill_date")
	refused(t, try([]*schedulingv1.CallOff{{CropId: standing.GetCropId(), Etag: "v9"}}, good), fault.Stale, "STALE_ETAG", "etag")
	refused(t, try([]*schedulingv1.CallOff{{CropId: "nobody"}}, good), fault.NotFound, "UNKNOWN_CROP", "call_offs[0].crop_id")
	refused(t, try(nil), fault.Invalid, fault.ReasonInvalidField, "fills")
	diff(t, "crops", crops, cropIDs(r.calendar(t, "2026-01-01", "2026-12-31", "")))
	diff(t, "events", before, len(r.events(t)))

	if err := try(off, good); err != nil {
		t.Fatal(err)
	}
	diff(t, "told", map[string]int{"crop.ended " + standing.GetCropId(): 1, "crop.planned elm-end-2-20260310": 1}, count(r.events(t)[before:]))
	r.record(t, "elm-end-2-20260310", filling, "2026-03-10")
	refused(t, try([]*schedulingv1.CallOff{{CropId: "elm-end-2-20260310"}}), fault.Precondition, "CROP_HAS_BEGUN", "call_offs[0].crop_id")
}

// What if a yard is down, a room lost, demand up: plan beside plan.
func TestWhatIf(t *testing.T) {
	t.Parallel()
	r := quarter(t)
	ask := func(changes ...*schedulingv1.Change) (*schedulingv1.WhatIfResponse, error) {
		ctx, stop := context.WithTimeout(r.office(t), time.Minute)
		defer stop()
		return r.WhatIf(ctx, &schedulingv1.WhatIfRequest{Weeks: 16, Seconds: 1, Changes: changes})
	}
	down := &schedulingv1.Change{Change: &schedulingv1.Change_YardDown{YardDown: &schedulingv1.YardDown{YardId: "quarry-end", FromWeek: "2026-03-09", Weeks: 2}}}
	lost := &schedulingv1.Change{Change: &schedulingv1.Change_RoomLost{RoomLost: "gorse-hill-1"}}
	more := &schedulingv1.Change{Change: &schedulingv1.Change_DemandPercent{DemandPercent: 115}}
	answer := must[*schedulingv1.WhatIfResponse](t)(ask(down, lost, more))
	base, changed, d := answer.GetBase(), answer.GetChanged(), answer.GetDifference()
	// The parts are rounded one by one, so the difference may be off by one.
	if off := changed.GetCostMinor() - base.GetCostMinor() - d.GetCostMinor(); off < -1 || off > 1 || d.GetCostMinor() <= 0 {
		t.Errorf("costs %d and %d, difference %d", base.GetCostMinor(), changed.GetCostMinor(), d.GetCostMinor())
	}
	for w, want := range []int64{20_000, 20_000, 45_000} {
		if got := changed.GetYard()[w].GetCapacityKg(); got != want || base.GetYard()[w].GetCapacityKg() != 45_000 {
			t.Errorf("week %d: the yards give %d kg, want %d", w, got, want)
		}
	}
	for _, f := range changed.GetFills() {
		if f.GetRoomId() == "gorse-hill-1" {
			t.Errorf("fills the lost room: %v", f)
		}
	}
	for i, k := range changed.GetKinds() {
		var was, is, supply int64
		for w := range k.GetWeeks() {
			was += base.GetKinds()[i].GetWeeks()[w].GetDemandGrams()
			is += k.GetWeeks()[w].GetDemandGrams()
			supply += k.GetWeeks()[w].GetProposedGrams() - base.GetKinds()[i].GetWeeks()[w].GetProposedGrams()
		}
		if is != was*115/100 || d.GetKinds()[i].GetDemandGrams() != is-was || d.GetKinds()[i].GetSupplyGrams() != supply {
			t.Errorf("%s: demand %d, was %d; %v", k.GetKind().GetSpecies(), is, was, d.GetKinds()[i])
		}
	}
	for field, c := range map[string]*schedulingv1.Change{
		"changes[0].room_lost":           {Change: &schedulingv1.Change_RoomLost{RoomLost: "nowhere"}},
		"changes[0].yard_down.yard_id":   {Change: &schedulingv1.Change_YardDown{YardDown: &schedulingv1.YardDown{YardId: "nowhere", FromWeek: "2026-03-09", Weeks: 2}}},
		"changes[0].yard_down.from_week": {Change: &schedulingv1.Change_YardDown{YardDown: &schedulingv1.YardDown{FromWeek: "2029-03-05", Weeks: 2}}},
	} {
		_, err := ask(c)
		if f := fault.FromStatus(err); f == nil || len(f.Fields) == 0 || f.Fields[0].Path != field {
			t.Errorf("%s: %v", field, err)
		}
	}
}

// Plans accepted at once cannot both take what the yards have left.
func TestYardsTonnesAreSharedOnce(t *testing.T) {
	t.Parallel()
	r := quarter(t)
	r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2027-03-09")) // the programme is in use before
	rooms := []string{"elm-end-2", "elm-end-3", "gorse-hill-1", "gorse-hill-2"}
	errs := make([]error, len(rooms))
	var wg sync.WaitGroup
	for i, id := range rooms {
		wg.Go(func() {
			_, errs[i] = r.AcceptFills(r.office(t), &schedulingv1.AcceptFillsRequest{
				RequestId: ids.New(), Fills: []*schedulingv1.CropPlan{fill(id, "white-bulk-2", "2026-03-10")},
			})
		})
	}
	wg.Wait()
	won := 0
	for _, err := range errs {
		if err == nil {
			won++
			continue
		}
		refused(t, err, fault.Precondition, "OVER_THE_YARDS_TONNES", "fills[0].fill_date")
	}
	if won != 2 {
		t.Errorf("%d rooms of 19,860 kg each are filled from 45,000 kg", won)
	}
}

// A single plan or move over the published tonnes of its week is refused with the
// reason, and made where the office wants it all the same.
func TestSinglePlansOverTheYardsTonnes(t *testing.T) {
	t.Parallel()
	r := quarter(t)
	for _, id := range []string{"elm-end-2", "elm-end-3"} {
		r.plan(t, fill(id, "white-bulk-2", "2026-03-10")) // 39,720 kg of 45,000 kg
	}
	third := fill("gorse-hill-1", "white-bulk-2", "2026-03-12")
	_, err := r.PlanCrop(r.office(t), &schedulingv1.PlanCropRequest{RequestId: ids.New(), Plan: third})
	refused(t, err, fault.Precondition, "OVER_THE_YARDS_TONNES", "plan.fill_date")
	must[*schedulingv1.Crop](t)(r.PlanCrop(r.office(t), &schedulingv1.PlanCropRequest{RequestId: ids.New(), Plan: third, BeyondSlots: true}))

	later := r.plan(t, fill("gorse-hill-2", "white-bulk-2", "2026-03-17"))
	move := &schedulingv1.MoveCropRequest{RequestId: ids.New(), CropId: later.GetCropId(), FillDate: "2026-03-11"}
	_, err = r.MoveCrop(r.office(t), move)
	refused(t, err, fault.Precondition, "OVER_THE_YARDS_TONNES", "fill_date")
	move.BeyondSlots, move.RequestId = true, ids.New()
	if moved := must[*schedulingv1.Crop](t)(r.MoveCrop(r.office(t), move)); moved.GetFillDate() != "2026-03-11" {
		t.Errorf("moved to %s", moved.GetFillDate())
	}
}

// Where evenness is wished for, the plan that is taken costs no more with its
// unevenness than the one that is made without asking for it, and the figures of
// the farms tell of it.
func TestEvennessIsWeighed(t *testing.T) {
	t.Parallel()
	r := quarter(t)
	ask := &schedulingv1.ProposeFillsRequest{Weeks: 20, Seconds: 1}
	over := func(p *schedulingv1.Proposal) int64 {
		var total int64
		for _, f := range p.GetFarms() {
			total += max(0, f.GetGrams()-f.GetFairGrams())
		}
		return total / 1000
	}
	before := r.lastProposal(t, ask)
	must[*schedulingv1.PlanningSettings](t)(r.SavePlanningSettings(r.office(t), &schedulingv1.SavePlanningSettingsRequest{
		RequestId: ids.New(), Settings: &schedulingv1.PlanningSettings{BalanceMinorPerKg: proto.Int64(500)},
	}))
	after := r.lastProposal(t, ask)
	if before.GetWishMinor() != 0 || after.GetWishMinor() == 0 && over(after) > 0 || over(after) > over(before) {
		t.Errorf("before %d kg uneven, wishes %d; after %d kg, wishes %d", over(before), before.GetWishMinor(), over(after), after.GetWishMinor())
	}
	if after.GetCostMinor()+after.GetWishMinor() > before.GetCostMinor()+500*over(before)+1000 {
		t.Errorf("with its unevenness it costs %d + %d, the plan without %d + %d", after.GetCostMinor(), after.GetWishMinor(), before.GetCostMinor(), 500*over(before))
	}
}
