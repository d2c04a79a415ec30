package web

import (
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// slotsTable is the slots for the file.
func slotsTable(v *visit, slots []*compostlotv1.Slot, n names) *table {
	t := &table{ID: "slots", Caption: v.words.T("slots.slots"), Columns: []column{
		{Key: "slots.id", Name: "slot_id"}, {Key: "trace.yard", Name: "yard"}, {Key: "slots.ready", Name: "ready_date"}, {Key: "slots.phase", Name: "phase"}, {Key: "slots.capacity", Name: "capacity_kg", Figures: true},
		{Key: "slots.free", Name: "free_kg", Figures: true}, {Key: "slots.price", Name: "price_minor_per_tonne", Figures: true}, {Key: "slots.cutoff", Name: "request_cutoff"}, {Key: "lots.state", Name: "state"},
	}}
	for _, s := range slots {
		t.Rows = append(t.Rows, []cell{
			code(s.GetSlotId()), name(nameOf(n.yards, s.GetYardId())), v.date(s.GetReadyDate()), v.says(phaseKey(s.GetPhase())), v.wholeKg(s.GetCapacityKg()), v.wholeKg(s.GetFreeKg()),
			v.money(s.GetPriceMinorPerTonne()), v.instant(s.GetRequestCutoff().AsTime()), v.says(slotStateKey(s.GetState())),
		})
	}
	return v.table(t)
}

func slotStateKey(s compostlotv1.SlotState) string {
	switch s {
	case compostlotv1.SlotState_SLOT_STATE_SHARED:
		return "slots.shared"
	case compostlotv1.SlotState_SLOT_STATE_WITHDRAWN:
		return "slots.taken_back"
	default:
		return "slots.open"
	}
}

// askedTable is who asked for what and got what, for the file.
func askedTable(v *visit, rows []askedRow) *table {
	t := &table{ID: "asked", Caption: v.words.T("slots.asked_got"), Columns: []column{
		{Key: "word.farm", Name: "farm"}, {Key: "word.room", Name: "room"}, {Key: "slots.from", Name: "earliest_date"}, {Key: "slots.to", Name: "latest_date"}, {Key: "slots.wanted", Name: "wanted_kg", Figures: true},
		{Key: "slots.granted", Name: "granted_kg", Figures: true}, {Key: "slots.slots", Name: "slot_ids"}, {Key: "proposals.why", Name: "explanation"},
	}}
	for _, r := range rows {
		granted := none()
		if r.Decided {
			granted = v.wholeKg(r.Granted)
		}
		t.Rows = append(t.Rows, []cell{name(r.Farm), name(r.Room), v.date(r.First), v.date(r.Last), v.wholeKg(r.Wanted), granted, code(r.FromSlot), english(r.Explanation)})
	}
	return v.table(t)
}
