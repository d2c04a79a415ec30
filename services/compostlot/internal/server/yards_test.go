package server_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

func TestSaveYard(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	save := func(id, name, etag string) (*compostlotv1.Yard, error) {
		return r.SaveYard(r.office(t), &compostlotv1.SaveYardRequest{RequestId: id, Yard: &compostlotv1.Yard{YardId: "quarry", Name: name, Etag: etag}})
	}
	first := ids.New()
	made := must[*compostlotv1.Yard](t)(save(first, "Quarry End", ""))
	if again := must[*compostlotv1.Yard](t)(save(ids.New(), "Quarry End", "")); !proto.Equal(made, again) {
		t.Errorf("an equal save made %v of %v", again, made)
	}
	_, err := save(ids.New(), "Quarry Top", "")
	refused(t, err, fault.Stale, "CHANGED_MEANWHILE", "yard.etag")
	changed := must[*compostlotv1.Yard](t)(save(ids.New(), "Quarry Top", made.GetEtag()))
	_, err = save(ids.New(), "Quarry Bottom", made.GetEtag())
	if f := refused(t, err, fault.Stale, "CHANGED_MEANWHILE", "yard.etag"); f.Meta["changedBy"] != "Office" || !strings.Contains(f.Message, "2026-03-02 12:00:00 UTC") {
		t.Errorf("the refusal says %q, %v", f.Message, f.Meta)
	}
	// The first request again gets the first answer, whatever came since.
	if again := must[*compostlotv1.Yard](t)(save(first, "Quarry End", "")); !proto.Equal(made, again) {
		t.Errorf("the first request again answers %v", again)
	}
	_, err = save(first, "Quarry Side", "")
	refused(t, err, fault.Exists, "REQUEST_ID_REUSED", "")
	_, err = r.SaveYard(r.office(t), &compostlotv1.SaveYardRequest{RequestId: ids.New(), Yard: &compostlotv1.Yard{YardId: "moss", Name: "Moss", Etag: "v1"}})
	refused(t, err, fault.NotFound, "UNKNOWN_YARD", "yard.etag")

	list := must[*compostlotv1.ListYardsResponse](t)(r.ListYards(r.office(t), &compostlotv1.ListYardsRequest{}))
	if diff := cmp.Diff([]*compostlotv1.Yard{changed}, list.GetYards(), protocmp.Transform()); diff != "" {
		t.Errorf("yards (-want +got):\n%s", diff)
	}
	other := must[*compostlotv1.ListYardsResponse](t)(r.ListYards(testkit.Context(t, testkit.Coop()), &compostlotv1.ListYardsRequest{}))
	if len(other.GetYards()) != 0 {
		t.Errorf("another co-op sees %v", other.GetYards())
	}
}

// What is wrong with one element is said with its place, and nothing of the batch is taken.
func TestBadBatches(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.publish(t, slot("taken", "2026-03-20", 1000))
	r.open(t, phaseTwo("open", 1000))
	published, opened := r.eventsOf(t)["slot.published"], r.eventsOf(t)["lot.opened"]

	for name, c := range map[string]struct {
		change func(*compostlotv1.Slot)
		kind   fault.Kind
		field  string
	}{
		"no such day":       {func(s *compostlotv1.Slot) { s.ReadyDate = "2026-02-30" }, fault.Invalid, "slots[1].ready_date"},
		"before 1970":       {func(s *compostlotv1.Slot) { s.ReadyDate = "1969-12-31" }, fault.Invalid, "slots[1].ready_date"},
		"unknown yard":      {func(s *compostlotv1.Slot) { s.YardId = "moss" }, fault.Invalid, "slots[1].yard_id"},
		"published already": {func(s *compostlotv1.Slot) { s.SlotId = "taken" }, fault.Exists, "slots[1].slot_id"},
		"twice":             {func(s *compostlotv1.Slot) { s.SlotId = "good" }, fault.Invalid, "slots[1].slot_id"},
		"late cut-off":      {func(s *compostlotv1.Slot) { s.RequestCutoff = timestamppb.New(noon.AddDate(1, 0, 0)) }, fault.Invalid, "slots[1].request_cutoff"},
		"no instant":        {func(s *compostlotv1.Slot) { s.RequestCutoff = &timestamppb.Timestamp{Seconds: 1 << 60} }, fault.Invalid, "slots[1].request_cutoff"},
		"smallest lot":      {func(s *compostlotv1.Slot) { s.SmallestLotKg = 2000 }, fault.Invalid, "slots[1].smallest_lot_kg"},
		"no phase":          {func(s *compostlotv1.Slot) { s.Phase = typev1.CompostPhase_COMPOST_PHASE_UNSPECIFIED }, fault.Invalid, "slots[1].phase"},
	} {
		bad := slot("bad", "2026-03-20", 1000)
		c.change(bad)
		_, err := r.PublishSlots(r.office(t), &compostlotv1.PublishSlotsRequest{RequestId: ids.New(), Slots: []*compostlotv1.Slot{slot("good", "2026-03-20", 1000), bad}})
		t.Run("slot/"+name, func(t *testing.T) { refused(t, err, c.kind, "", c.field) })
	}
	for name, c := range map[string]struct {
		change func(*compostlotv1.Lot)
		kind   fault.Kind
		field  string
	}{
		"no such day":        {func(l *compostlotv1.Lot) { l.StartedDate = "2026-02-30" }, fault.Invalid, "lots[1].started_date"},
		"unknown yard":       {func(l *compostlotv1.Lot) { l.YardId = "moss" }, fault.Invalid, "lots[1].yard_id"},
		"unknown slot":       {func(l *compostlotv1.Lot) { l.SlotId = "moss" }, fault.Invalid, "lots[1].slot_id"},
		"another yard's":     {func(l *compostlotv1.Lot) { l.SlotId, l.YardId = "taken", "mill" }, fault.Invalid, "lots[1].slot_id"},
		"of another phase":   {func(l *compostlotv1.Lot) { l.SlotId, l.Phase = "taken", typev1.CompostPhase_COMPOST_PHASE_ONE }, fault.Invalid, "lots[1].phase"},
		"open already":       {func(l *compostlotv1.Lot) { l.LotId = "open" }, fault.Exists, "lots[1].lot_id"},
		"twice":              {func(l *compostlotv1.Lot) { l.LotId = "good" }, fault.Invalid, "lots[1].lot_id"},
		"nothing":            {func(l *compostlotv1.Lot) { l.MadeKg = 0 }, fault.Invalid, "lots[1].made_kg"},
		"a code with spaces": {func(l *compostlotv1.Lot) { l.LotId = "lot 9" }, fault.Invalid, "lots[1].lot_id"},
	} {
		bad := phaseTwo("bad", 1000)
		c.change(bad)
		_, err := r.BatchOpenLots(r.office(t), &compostlotv1.BatchOpenLotsRequest{RequestId: ids.New(), Lots: []*compostlotv1.Lot{phaseTwo("good", 1000), bad}})
		t.Run("lot/"+name, func(t *testing.T) { refused(t, err, c.kind, "", c.field) })
	}
	if got := r.eventsOf(t); got["slot.published"] != published || got["lot.opened"] != opened || len(r.slots(t)) != 1 {
		t.Errorf("something of a refused batch was taken: %v", got)
	}
	lots := must[*compostlotv1.ListLotsResponse](t)(r.ListLots(r.as(t, identity.Grower, "alder"), &compostlotv1.ListLotsRequest{}))
	if len(lots.GetLots()) != 1 {
		t.Errorf("lots %v", lots.GetLots())
	}
}

// The marks of a lot follow each other in time; a wrong one can be moved.
func TestMarks(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 1000))
	mark := func(m compostlotv1.PhaseMark, hour int) *compostlotv1.MarkedPhase {
		return &compostlotv1.MarkedPhase{LotId: "quarry-7", Mark: m, Time: timestamppb.New(noon.AddDate(0, 0, -10).Add(timeHours(hour)))}
	}
	send := func(marks ...*compostlotv1.MarkedPhase) error {
		_, err := r.MarkPhases(r.office(t), &compostlotv1.MarkPhasesRequest{RequestId: ids.New(), Marks: marks})
		return err
	}
	const filled, conditioning, cooled = compostlotv1.PhaseMark_PHASE_MARK_FILLED, compostlotv1.PhaseMark_PHASE_MARK_CONDITIONING, compostlotv1.PhaseMark_PHASE_MARK_COOLED
	refused(t, send(mark(filled, 5), mark(cooled, 4)), fault.Invalid, "", "marks[0].time")
	refused(t, send(mark(filled, 5), mark(filled, 6)), fault.Invalid, "", "marks[1].mark")
	if err := send(mark(filled, 5), mark(cooled, 90)); err != nil {
		t.Fatal(err)
	}
	refused(t, send(mark(conditioning, 4)), fault.Invalid, "", "marks[0].time")
	refused(t, send(mark(conditioning, 91)), fault.Invalid, "", "marks[0].time")
	if err := send(mark(filled, 3), mark(conditioning, 4)); err != nil {
		t.Fatal(err)
	}
	want := []*compostlotv1.MarkedPhase{mark(filled, 3), mark(conditioning, 4), mark(cooled, 90)}
	if diff := cmp.Diff(want, r.reportOf(t, "quarry-7").GetMarks(), protocmp.Transform()); diff != "" {
		t.Errorf("marks (-want +got):\n%s", diff)
	}
	refused(t, send(&compostlotv1.MarkedPhase{LotId: "none", Mark: filled, Time: timestamppb.New(noon)}), fault.NotFound, "UNKNOWN_LOT", "marks[0].lot_id")
}
