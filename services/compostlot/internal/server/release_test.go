package server_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

func TestReleaseRefusedThenAcceptedOnReadings(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 40_000))
	ask := &compostlotv1.ReleaseLotRequest{RequestId: ids.New(), LotId: "quarry-7", ReleasedBy: "Orla Keane"}
	_, err := r.ReleaseLot(r.office(t), ask)
	f := refused(t, err, fault.Precondition, "LOT_NOT_PROVEN", "criteria.pasteurise-60C-2h")
	if len(f.Fields) != 7 || !strings.Contains(f.Fields[0].Description, "Note when the filling was.") {
		t.Errorf("the refusal names %v", f.Fields)
	}
	_, err = r.DeliverLot(r.office(t), delivery("quarry-7", "alder-1", 1))
	refused(t, err, fault.Precondition, "LOT_NOT_RELEASED", "lot_id")

	r.prove(t, "quarry-7")
	report := r.reportOf(t, "quarry-7")
	if !report.GetProven() || report.GetReadings() != 3*whole/5+6 || report.GetCaution() == "" || len(report.GetMarks()) != 5 {
		t.Fatalf("report of a sound lot: %v", report)
	}
	lot := must[*compostlotv1.Lot](t)(r.ReleaseLot(r.office(t), ask)) // the refused request left no trace: the same one may pass now
	want := &compostlotv1.Lot{
		LotId: "quarry-7", YardId: "quarry", Phase: typev1.CompostPhase_COMPOST_PHASE_TWO, StartedDate: "2026-02-01", MadeKg: 40_000, RemainingKg: 40_000,
		State: compostlotv1.LotState_LOT_STATE_RELEASED, ReleasedBy: "Orla Keane", ReleasedAt: timestamppb.New(noon), Version: 2, Etag: "v2",
	}
	if diff := cmp.Diff(want, lot, protocmp.Transform()); diff != "" {
		t.Errorf("released (-want +got):\n%s", diff)
	}
	events := r.events(t)
	if diff := cmp.Diff(told{"lot.released", "quarry-7", &compostlotv1.LotReleased{Lot: want}}, events[len(events)-1], protocmp.Transform()); diff != "" {
		t.Errorf("told (-want +got):\n%s", diff)
	}
	_, err = r.ReleaseLot(r.office(t), &compostlotv1.ReleaseLotRequest{RequestId: ids.New(), LotId: "quarry-7", ReleasedBy: "Orla Keane"})
	refused(t, err, fault.Precondition, "LOT_RELEASED", "lot_id")

	// The report of a released lot stays that of its release, however old it grows.
	r.clock.Advance(90 * 24 * time.Hour)
	if report = r.reportOf(t, "quarry-7"); !report.GetProven() || !report.GetJudgedAt().AsTime().Equal(noon) {
		t.Errorf("after a season the report says %v", report)
	}
	// What it was released on is not changed behind its back.
	_, err = r.MarkPhases(r.office(t), &compostlotv1.MarkPhasesRequest{RequestId: ids.New(), Marks: []*compostlotv1.MarkedPhase{
		{LotId: "quarry-7", Mark: compostlotv1.PhaseMark_PHASE_MARK_COOLED, Time: timestamppb.New(noon)},
	}})
	refused(t, err, fault.Precondition, "LOT_RELEASED", "marks[0].lot_id")
	_, err = r.SaveProbe(r.office(t), &compostlotv1.SaveProbeRequest{RequestId: ids.New(), Probe: &compostlotv1.Probe{
		LotId: "quarry-7", ProbeId: "p1", Kind: compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE, OffsetThousandths: 5,
	}})
	refused(t, err, fault.Precondition, "LOT_RELEASED", "probe.lot_id")
}

// A calibration counts: a thermometer that reads 0.3 °C too high proves no 60 °C.
func TestCalibrationDecides(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 40_000))
	r.prove(t, "quarry-7")
	probe := must[*compostlotv1.Probe](t)(r.SaveProbe(r.office(t), &compostlotv1.SaveProbeRequest{RequestId: ids.New(), Probe: &compostlotv1.Probe{
		LotId: "quarry-7", ProbeId: "p1", Kind: compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE, OffsetThousandths: -300,
	}}))
	if probe.GetReadings() != whole/5 || probe.GetCalibratedBy() != "Office" || !probe.GetLastAt().AsTime().Equal(noon.Add(-5*time.Minute)) {
		t.Errorf("probe %v", probe)
	}
	// Who has not read it changes nothing; the same again is no change.
	for offset, etag := range map[int64]string{-400: "", -500: "v2"} {
		_, err := r.SaveProbe(r.office(t), &compostlotv1.SaveProbeRequest{RequestId: ids.New(), Probe: &compostlotv1.Probe{
			LotId: "quarry-7", ProbeId: "p1", Kind: probe.GetKind(), OffsetThousandths: offset, Etag: etag,
		}})
		refused(t, err, fault.Stale, "CHANGED_MEANWHILE", "probe.etag")
	}
	for _, etag := range []string{"", "v1"} {
		same := must[*compostlotv1.Probe](t)(r.SaveProbe(r.office(t), &compostlotv1.SaveProbeRequest{RequestId: ids.New(), Probe: &compostlotv1.Probe{
			LotId: "quarry-7", ProbeId: "p1", Kind: probe.GetKind(), OffsetThousandths: -300, Etag: etag,
		}}))
		if same.GetEtag() != "v1" {
			t.Errorf("saved again with etag %q: %v", etag, same)
		}
	}
	_, err := r.ReleaseLot(r.office(t), &compostlotv1.ReleaseLotRequest{RequestId: ids.New(), LotId: "quarry-7", ReleasedBy: "Orla Keane"})
	if f := refused(t, err, fault.Precondition, "LOT_NOT_PROVEN", "criteria.pasteurise-60C-2h"); len(f.Fields) != 1 || !strings.Contains(f.Fields[0].Description, "p1") {
		t.Errorf("the refusal names %v", f.Fields)
	}
}

func TestExceptionHoldAndReleaseAgain(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 40_000), phaseTwo("quarry-8", 40_000))
	release := func(lot, reason string) (*compostlotv1.Lot, error) {
		return r.ReleaseLot(r.office(t), &compostlotv1.ReleaseLotRequest{RequestId: ids.New(), LotId: lot, ReleasedBy: "Orla Keane", ExceptionReason: reason})
	}
	_, err := release("quarry-7", "   ")
	refused(t, err, fault.Invalid, "", "exception_reason")
	lot := must[*compostlotv1.Lot](t)(release("quarry-7", "logger lost; pasteurised under my eyes"))
	if lot.GetExceptionReason() == "" || len(lot.GetUnprovenCriteria()) != 7 {
		t.Errorf("exception %v", lot)
	}
	must[*compostlotv1.LotDelivery](t)(r.DeliverLot(r.office(t), delivery("quarry-7", "alder-1", 1000)))

	hold := &compostlotv1.HoldLotRequest{RequestId: ids.New(), LotId: "quarry-7", HeldBy: "Fintan Roe", Reason: "flies in the tunnel"}
	held := must[*compostlotv1.Lot](t)(r.HoldLot(r.office(t), hold))
	if held.GetState() != compostlotv1.LotState_LOT_STATE_HELD || held.GetExceptionReason() == "" || held.GetVersion() != 4 {
		t.Errorf("held %v", held)
	}
	if again := must[*compostlotv1.Lot](t)(r.HoldLot(r.office(t), hold)); !proto.Equal(held, again) {
		t.Errorf("the same hold again answers %v", again)
	}
	_, err = r.DeliverLot(r.office(t), delivery("quarry-7", "alder-1", 1000))
	refused(t, err, fault.Precondition, "LOT_HELD", "lot_id")
	_, err = r.HoldLot(r.office(t), &compostlotv1.HoldLotRequest{RequestId: ids.New(), LotId: "quarry-7", HeldBy: "M", Reason: "other"})
	refused(t, err, fault.Precondition, "LOT_HELD", "lot_id")

	// A hold is ended by a release after it, on evidence; the exception stays with what left
	// under it.
	r.clock.Advance(time.Hour)
	r.prove(t, "quarry-7")
	_, err = release("quarry-7", "not needed any more")
	refused(t, err, fault.Invalid, "", "exception_reason")
	_, err = r.ReleaseLot(r.office(t), &compostlotv1.ReleaseLotRequest{RequestId: ids.New(), LotId: "quarry-7", ReleasedBy: "O", ReleasedAt: timestamppb.New(noon.Add(-time.Minute))})
	refused(t, err, fault.Invalid, "", "released_at")
	if lot = r.release(t, "quarry-7"); lot.GetHoldReason() != "" || lot.GetHeldBy() != "" || !strings.HasPrefix(lot.GetExceptionReason(), "logger lost") {
		t.Errorf("released again %v", lot)
	}
	if diff := cmp.Diff(map[string]int{"lot.opened": 2, "lot.released": 2, "lot.delivered": 1, "lot.held": 1}, r.eventsOf(t)); diff != "" {
		t.Errorf("events (-want +got):\n%s", diff)
	}
}

// Releases that are entered late are judged as of their moment, and a file of them passes
// whole or not at all.
func TestBatchOfReleases(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 40_000), phaseTwo("quarry-8", 40_000))
	r.prove(t, "quarry-7")
	r.clock.Advance(30 * 24 * time.Hour)
	batch := []*compostlotv1.LotRelease{
		{LotId: "quarry-7", ReleasedBy: "Orla Keane", ReleasedAt: timestamppb.New(noon)},
		{LotId: "quarry-8", ReleasedBy: "Orla Keane"},
	}
	send := func() (*compostlotv1.BatchReleaseLotsResponse, error) {
		return r.BatchReleaseLots(r.office(t), &compostlotv1.BatchReleaseLotsRequest{RequestId: ids.New(), Releases: batch})
	}
	_, err := send()
	refused(t, err, fault.Precondition, "LOT_NOT_PROVEN", "releases[1].criteria.pasteurise-60C-2h")
	if lot := r.reportOf(t, "quarry-7").GetLot(); lot.GetState() != compostlotv1.LotState_LOT_STATE_OPEN || r.eventsOf(t)["lot.released"] != 0 {
		t.Errorf("of a refused batch %v stayed", lot)
	}
	batch[0].ReleasedAt = nil // a month later its last readings are too old to be proof
	_, err = send()
	if f := refused(t, err, fault.Precondition, "LOT_NOT_PROVEN", "releases[0].criteria.ammonia-10ppm"); len(f.Fields) != 2+7 {
		t.Errorf("the refusal names %v", f.Fields)
	}
	batch[0].ReleasedAt, batch[1].ExceptionReason = timestamppb.New(noon), "paper log lost in the flood"
	resp := must[*compostlotv1.BatchReleaseLotsResponse](t)(send())
	if got := resp.GetLots(); len(got) != 2 || got[0].GetExceptionReason() != "" || !got[0].GetReleasedAt().AsTime().Equal(noon) || got[1].GetExceptionReason() == "" {
		t.Errorf("released %v", got)
	}
}

// Phase I answers for what it is made of; it is pasteurised where it is filled.
func TestReleaseOfPhaseOne(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	lot := phaseTwo("quarry-9", 40_000)
	lot.Phase = typev1.CompostPhase_COMPOST_PHASE_ONE
	r.open(t, lot)
	must[*compostlotv1.MarkPhasesResponse](t)(r.MarkPhases(r.office(t), &compostlotv1.MarkPhasesRequest{RequestId: ids.New(), Marks: []*compostlotv1.MarkedPhase{
		{LotId: "quarry-9", Mark: compostlotv1.PhaseMark_PHASE_MARK_FILLED, Time: timestamppb.New(noon.Add(-48 * time.Hour))},
	}}))
	lab := func(kind compostlotv1.ReadingKind, v int64) *compostlotv1.Reading {
		return &compostlotv1.Reading{LotId: "quarry-9", ProbeId: "lab", Kind: kind, Time: timestamppb.New(noon.Add(-time.Hour)), ValueThousandths: v}
	}
	must[*compostlotv1.RecordReadingsResponse](t)(r.record(r.office(t), []*compostlotv1.Reading{
		lab(compostlotv1.ReadingKind_READING_KIND_NITROGEN, 1573), lab(compostlotv1.ReadingKind_READING_KIND_MOISTURE, 72_000),
	}))
	if got := r.release(t, "quarry-9"); got.GetState() != compostlotv1.LotState_LOT_STATE_RELEASED {
		t.Errorf("released %v", got)
	}
}
