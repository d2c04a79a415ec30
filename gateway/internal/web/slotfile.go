package web

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
)

// Columns of a file of slots, as the co-op's own files have them.
var (
	slotColumns   = []string{"slot_id", "ready_date", "phase", "capacity_kg", "request_cutoff"}
	slotColumnsOf = []string{"yard_id", "smallest_lot_kg", "price_minor_per_tonne"} // may be left out
)

var phaseWords = map[string]typev1.CompostPhase{
	"one": typev1.CompostPhase_COMPOST_PHASE_ONE, "two": typev1.CompostPhase_COMPOST_PHASE_TWO, "three": typev1.CompostPhase_COMPOST_PHASE_THREE,
}

// publishFile publishes the slots of an uploaded file for the visitor's yard, all or none.
func (p *Pages) publishFile(v *visit) (view, error) {
	rows, err := v.uploaded("file", slotColumns, slotColumnsOf)
	if err != nil {
		return view{}, err
	}
	req := &compostlotv1.PublishSlotsRequest{RequestId: v.r.PostFormValue("request_id")}
	for _, row := range rows {
		slot, err := slotOf(row, v.who.YardID)
		if err != nil {
			return view{}, v.wrongFile("file", err)
		}
		req.Slots = append(req.Slots, slot)
	}
	if _, err := p.compostlot.PublishSlots(v.ctx, req); err != nil {
		return view{}, v.placed(err, "file", "slots", rows)
	}
	return view{goTo: "/slots?done=published"}, nil
}

// slotOf is the slot of a row. Its errors are *rowError.
func slotOf(row csvRow, yardID string) (*compostlotv1.Slot, error) {
	phase, ok := phaseWords[row.values["phase"]]
	if !ok {
		return nil, row.wrong("phase")
	}
	if of := row.values["yard_id"]; of != "" && of != yardID {
		return nil, row.wrong("yard_id")
	}
	cutoff, err := time.Parse(time.RFC3339, row.values["request_cutoff"])
	if err != nil {
		return nil, row.wrong("request_cutoff")
	}
	slot := &compostlotv1.Slot{SlotId: row.values["slot_id"], YardId: yardID, ReadyDate: row.values["ready_date"], Phase: phase, RequestCutoff: timestamppb.New(cutoff)}
	if slot.CapacityKg, err = row.whole("capacity_kg"); err != nil {
		return nil, err
	}
	if slot.SmallestLotKg, err = row.whole("smallest_lot_kg"); err != nil {
		return nil, err
	}
	slot.PriceMinorPerTonne, err = row.whole("price_minor_per_tonne")
	return slot, err
}
