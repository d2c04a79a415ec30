package importer

import (
	"context"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// slots publishes the slots that the suite does not have. Farms may have asked for a
// published one already, so an import does not change it.
func (r *run) slots(ctx context.Context) (Outcome, error) {
	var wanted []item[*compostlotv1.Slot]
	for _, s := range r.files.Slots {
		wanted = append(wanted, item[*compostlotv1.Slot]{&compostlotv1.Slot{
			SlotId: s.SlotID, YardId: s.YardID, ReadyDate: s.ReadyDate, Phase: phases[s.Phase], CapacityKg: s.CapacityKilos,
			SmallestLotKg: s.SmallestLotKilos, PriceMinorPerTonne: s.PriceMinorPerTonne, RequestCutoff: timestamppb.New(s.RequestCutoff),
		}, []int{s.Line}})
	}
	p := compare(wanted, r.have.slots, (*compostlotv1.Slot).GetSlotId,
		"yard_id", "ready_date", "phase", "capacity_kg", "smallest_lot_kg", "price_minor_per_tonne", "request_cutoff")
	if len(p.changed) > 0 {
		s := p.changed[0]
		return Outcome{}, refuse("slots.csv", s.lines[0], "slot_id", "slot %s is published with other figures, and an import changes no published slot: give a new one another slot_id", s.message.GetSlotId())
	}
	return save(ctx, r, source{file: "slots.csv"}, p, func(list []*compostlotv1.Slot) *compostlotv1.PublishSlotsRequest {
		return &compostlotv1.PublishSlotsRequest{Slots: list}
	}, r.Compost.PublishSlots)
}

func (r *run) compostRequests(ctx context.Context) (Outcome, error) {
	list, err := r.Compost.ListCompostRequests(ctx, &compostlotv1.ListCompostRequestsRequest{})
	if err != nil {
		return Outcome{}, err
	}
	var wanted []item[*compostlotv1.CompostRequest]
	for _, c := range r.files.CompostRequests {
		wanted = append(wanted, item[*compostlotv1.CompostRequest]{&compostlotv1.CompostRequest{
			CompostRequestId: c.CompostRequestID, FarmId: c.FarmID, RoomId: c.RoomID, CropId: c.CropID, WantedKg: c.WantedKilos,
			SmallestUsefulKg: c.SmallestUsefulKilos, WholeFill: c.WholeFill, EarliestDate: c.EarliestDate, LatestDate: c.LatestDate,
			Phases: phasesOf(c.Phases),
		}, []int{c.Line}})
	}
	id := (*compostlotv1.CompostRequest).GetCompostRequestId
	p := compare(wanted, byID(list.GetCompostRequests(), id), id,
		"farm_id", "room_id", "crop_id", "wanted_kg", "smallest_useful_kg", "whole_fill", "earliest_date", "latest_date", "phases")
	return save(ctx, r, source{file: "compost_requests.csv"}, p, func(list []*compostlotv1.CompostRequest) *compostlotv1.BatchRequestCompostRequest {
		return &compostlotv1.BatchRequestCompostRequest{CompostRequests: list}
	}, r.Compost.BatchRequestCompost)
}

// lots opens the lots that the suite does not have. What a lot was opened with stands.
func (r *run) lots(ctx context.Context) (Outcome, error) {
	var wanted []item[*compostlotv1.Lot]
	for _, l := range r.files.Lots {
		wanted = append(wanted, item[*compostlotv1.Lot]{&compostlotv1.Lot{
			LotId: l.LotID, YardId: l.YardID, SlotId: l.SlotID, Phase: phases[l.Phase], StartedDate: l.StartedDate, MadeKg: l.MadeKilos,
		}, []int{l.Line}})
	}
	p := compare(wanted, r.have.lots, (*compostlotv1.Lot).GetLotId, "yard_id", "slot_id", "phase", "started_date", "made_kg")
	if len(p.changed) > 0 {
		l := p.changed[0]
		return Outcome{}, refuse("lots.csv", l.lines[0], "lot_id", "lot %s was opened with other figures, and an import changes no lot: give a new one another lot_id", l.message.GetLotId())
	}
	return save(ctx, r, source{file: "lots.csv"}, p, func(list []*compostlotv1.Lot) *compostlotv1.BatchOpenLotsRequest {
		return &compostlotv1.BatchOpenLotsRequest{Lots: list}
	}, r.Compost.BatchOpenLots)
}

// report is what the suite knows of a lot that was there before the import; empty for a new
// one. It is asked for once.
func (r *run) report(ctx context.Context, lotID string) (*compostlotv1.LotReport, error) {
	if r.have.lots[lotID] == nil {
		return &compostlotv1.LotReport{}, nil
	}
	if known := r.reports[lotID]; known != nil {
		return known, nil
	}
	report, err := r.Compost.GetLotReport(ctx, &compostlotv1.GetLotReportRequest{LotId: lotID})
	if err != nil {
		return nil, err
	}
	if r.reports == nil {
		r.reports = make(map[string]*compostlotv1.LotReport)
	}
	r.reports[lotID] = report
	return report, nil
}
