package server_test

import (
	"sync"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

const (
	filling  = schedulingv1.StageKind_STAGE_KIND_FILLING
	phaseTwo = schedulingv1.StageKind_STAGE_KIND_PHASE_TWO
	spawnRun = schedulingv1.StageKind_STAGE_KIND_SPAWN_RUN
	casing   = schedulingv1.StageKind_STAGE_KIND_CASING
	cropping = schedulingv1.StageKind_STAGE_KIND_CROPPING
	planned  = schedulingv1.CropState_CROP_STATE_PLANNED
	running  = schedulingv1.CropState_CROP_STATE_RUNNING
	ended    = schedulingv1.CropState_CROP_STATE_ENDED
)

// Reality slips by four days at casing: what follows moves by four days, what came
// before stays, and readers are told the whole crop at its new version.
func TestSlipShiftsWhatFollows(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	crop := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	filled := r.record(t, crop.GetCropId(), filling, "2026-04-06")
	if filled.GetState() != running || filled.GetVersion() != 2 || stage(t, filled, filling).GetActualStartDate() != "2026-04-06" {
		t.Errorf("after filling: %v", filled)
	}
	late := r.record(t, crop.GetCropId(), casing, "2026-04-27") // planned for the 23rd
	for _, c := range []struct {
		what, before, after string
		days                int
	}{
		{"spawn run", stage(t, crop, spawnRun).GetStartDate(), stage(t, late, spawnRun).GetStartDate(), 0},
		{"cropping", stage(t, crop, cropping).GetStartDate(), stage(t, late, cropping).GetStartDate(), 4},
		{"first pick", crop.GetFirstPickDate(), late.GetFirstPickDate(), 4},
		{"free", crop.GetFreeDate(), late.GetFreeDate(), 4},
	} {
		if got := day(t, c.after) - day(t, c.before); got != c.days {
			t.Errorf("%s moved from %s to %s, want %d days", c.what, c.before, c.after, c.days)
		}
	}
	if stage(t, late, spawnRun).GetOutsideRange() {
		t.Error("a spawn run of 21 days is flagged, published 14-21")
	}
	events := r.events(t)
	diff(t, "event", proto.Message(&schedulingv1.CropStageReached{Crop: late, Kind: casing}), events[len(events)-1].Payload, protocmp.Transform())

	corrected := r.record(t, crop.GetCropId(), casing, "2026-04-23")
	if corrected.GetFirstPickDate() != crop.GetFirstPickDate() || corrected.GetVersion() != 4 {
		t.Errorf("after the correction: first pick %s, version %d", corrected.GetFirstPickDate(), corrected.GetVersion())
	}
	diff(t, "the same day again", corrected, r.record(t, crop.GetCropId(), casing, "2026-04-23"), protocmp.Transform())
	if n := len(r.events(t)); n != len(events)+1 {
		t.Errorf("%d events, want %d", n, len(events)+1)
	}
}

// Two hands record steps of one crop at once: both are kept.
func TestRecordsAtOnceAreAllKept(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	crop := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	days := map[schedulingv1.StageKind]string{filling: "2026-04-06", spawnRun: "2026-04-07", casing: "2026-04-24", cropping: "2026-05-13"}
	var wg sync.WaitGroup
	for kind, date := range days {
		wg.Go(func() {
			if _, err := r.RecordStage(r.office(t), &schedulingv1.RecordStageRequest{RequestId: ids.New(), CropId: crop.GetCropId(), Kind: kind, Date: date}); err != nil {
				t.Errorf("%s: %v", kind, err)
			}
		})
	}
	wg.Wait()
	all := r.record(t, crop.GetCropId(), filling, days[filling])
	for kind, date := range days {
		if got := stage(t, all, kind).GetActualStartDate(); got != date {
			t.Errorf("%s really began on %q, want %s", kind, got, date)
		}
	}
	if all.GetVersion() != 5 {
		t.Errorf("version %d after 4 records", all.GetVersion())
	}
}

// A spawn run beyond its published 14-21 days (Beyer, Basic Procedures) is kept as
// it was, and flagged.
func TestWhatReallyHappenedIsKeptAndFlagged(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	crop := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	r.record(t, crop.GetCropId(), filling, "2026-04-06")
	r.record(t, crop.GetCropId(), spawnRun, "2026-04-06")
	late := r.record(t, crop.GetCropId(), casing, "2026-05-06")
	if !stage(t, late, spawnRun).GetOutsideRange() || stage(t, late, casing).GetOutsideRange() || stage(t, late, casing).GetStartDate() != "2026-05-06" {
		t.Errorf("stages %v", late.GetStages())
	}
}

// A crop that began months ago is planned, and its history recorded in one batch.
func TestImportOfARunningCrop(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	one := r.plan(t, fill("elm-end-1", "white-shelves", "2025-12-15"))
	two := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-01-12"))
	req := &schedulingv1.BatchRecordStagesRequest{RequestId: ids.New(), Records: []*schedulingv1.StageRecord{
		{CropId: two.GetCropId(), Kind: filling, Date: "2026-01-13"},
		{CropId: one.GetCropId(), Kind: filling, Date: "2025-12-15"},
		{CropId: one.GetCropId(), Kind: phaseTwo, Date: "2025-12-15"},
		{CropId: one.GetCropId(), Kind: spawnRun, Date: "2025-12-27"},
		{CropId: two.GetCropId(), Kind: casing, Date: "2026-01-31"},
		{CropId: one.GetCropId(), Kind: casing, Date: "2026-01-14"},
		{CropId: one.GetCropId(), Kind: cropping, Date: "2026-02-02"},
	}}
	answer := must[*schedulingv1.BatchRecordStagesResponse](t)(r.BatchRecordStages(r.office(t), req))
	if len(answer.GetCrops()) != 2 || answer.GetCrops()[0].GetCropId() != one.GetCropId() {
		t.Fatalf("crops %v", answer.GetCrops())
	}
	got := answer.GetCrops()[0]
	if got.GetState() != running || got.GetVersion() != 6 || got.GetFirstPickDate() != "2026-02-02" {
		t.Errorf("imported crop %v", got)
	}
	// Each record is told with a version of its own.
	var versions []int64
	for _, e := range r.events(t) {
		if reached, ok := e.Payload.(*schedulingv1.CropStageReached); ok && e.Of == one.GetCropId() {
			versions = append(versions, reached.GetCrop().GetVersion())
		}
	}
	diff(t, "versions told", []int64{2, 3, 4, 5, 6}, versions)
	diff(t, "the same batch again", answer, must[*schedulingv1.BatchRecordStagesResponse](t)(r.BatchRecordStages(r.office(t), req)), protocmp.Transform())
	req.RequestId = ids.New()
	diff(t, "the same records again", answer, must[*schedulingv1.BatchRecordStagesResponse](t)(r.BatchRecordStages(r.office(t), req)), protocmp.Transform())
}

func TestRefusedRecords(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	crop := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	r.record(t, crop.GetCropId(), filling, "2026-04-06")
	shut := r.plan(t, fill("elm-end-1", "white-shelves", "2025-04-07"))
	must[*schedulingv1.Crop](t)(r.EndCrop(r.office(t), &schedulingv1.EndCropRequest{RequestId: ids.New(), CropId: shut.GetCropId(), Date: "2025-04-01"}))
	before := len(r.events(t))
	good := &schedulingv1.StageRecord{CropId: crop.GetCropId(), Kind: spawnRun, Date: "2026-04-07"}
	for _, c := range []struct {
		name   string
		record *schedulingv1.StageRecord
		kind   fault.Kind
		reason string
		field  string
	}{
		{"crop not there", &schedulingv1.StageRecord{CropId: "nobody", Kind: casing, Date: "2026-04-23"}, fault.NotFound, "UNKNOWN_CROP", "crop_id"},
		{"30 February", &schedulingv1.StageRecord{CropId: crop.GetCropId(), Kind: casing, Date: "2026-02-30"}, fault.Invalid, fault.ReasonInvalidField, "date"},
		{"before filling", &schedulingv1.StageRecord{CropId: crop.GetCropId(), Kind: casing, Date: "2026-04-01"}, fault.Invalid, "IMPOSSIBLE_DATE", "date"},
		{"no step", &schedulingv1.StageRecord{CropId: crop.GetCropId(), Date: "2026-04-23"}, fault.Invalid, "INVALID_REQUEST", "kind"},
		{"ended crop", &schedulingv1.StageRecord{CropId: shut.GetCropId(), Kind: casing, Date: "2025-05-05"}, fault.Precondition, "CROP_ENDED", "crop_id"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := r.BatchRecordStages(r.office(t), &schedulingv1.BatchRecordStagesRequest{RequestId: ids.New(), Records: []*schedulingv1.StageRecord{good, c.record}})
			refused(t, err, c.kind, c.reason, "records[1]."+c.field)
			_, err = r.RecordStage(r.office(t), &schedulingv1.RecordStageRequest{RequestId: ids.New(), CropId: c.record.GetCropId(), Kind: c.record.GetKind(), Date: c.record.GetDate()})
			refused(t, err, c.kind, c.reason, c.field)
		})
	}
	if n := len(r.events(t)); n != before {
		t.Errorf("refused records told %d events", n-before)
	}
	_, err := r.RecordStage(r.office(t), &schedulingv1.RecordStageRequest{RequestId: ids.New(), CropId: crop.GetCropId(), Kind: casing, Date: "2026-04-23", Etag: crop.GetEtag()})
	f := refused(t, err, fault.Stale, "STALE_ETAG", "etag")
	diff(t, "who changed it", r.coop.Name, f.Meta["changedBy"])
}

func TestOysterHasNoCasing(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	ctx := r.office(t)
	r.settle(t)
	must[*schedulingv1.Room](t)(r.SaveRoom(ctx, &schedulingv1.SaveRoomRequest{RequestId: ids.New(), Room: room("elm-end-2", "elm-end", 5)}))
	crop := r.plan(t, fill("elm-end-2", "oyster-bags", "2026-04-06"))
	if crop.CasingGrams != nil || crop.GetCompostPhase() != 0 || len(crop.GetBears()) != 1 || crop.GetBears()[0].GetPickStage() != 0 {
		t.Errorf("oyster crop %v", crop)
	}
	_, err := r.RecordStage(ctx, &schedulingv1.RecordStageRequest{RequestId: ids.New(), CropId: crop.GetCropId(), Kind: casing, Date: "2026-04-23"})
	refused(t, err, fault.Invalid, fault.ReasonInvalidField, "kind")
}

func TestEndCrop(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	end := func(c *schedulingv1.Crop, date, etag string) (*schedulingv1.Crop, error) {
		return r.EndCrop(r.office(t), &schedulingv1.EndCropRequest{RequestId: ids.New(), CropId: c.GetCropId(), Date: date, Etag: etag})
	}
	crop := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	crop = r.record(t, crop.GetCropId(), filling, "2026-04-06")
	crop = r.record(t, crop.GetCropId(), cropping, "2026-05-12")
	_, err := end(crop, "2026-05-01", "")
	refused(t, err, fault.Invalid, "IMPOSSIBLE_DATE", "date")
	_, err = end(crop, "2026-06-08", "v1")
	refused(t, err, fault.Stale, "STALE_ETAG", "etag")
	over := must[*schedulingv1.Crop](t)(end(crop, "2026-06-08", crop.GetEtag()))
	if over.GetState() != ended || over.GetFreeDate() != "2026-06-08" || over.GetCalledOff() || over.GetVersion() != 4 {
		t.Errorf("ended crop %v", over)
	}
	events := r.events(t)
	diff(t, "event", proto.Message(&schedulingv1.CropEnded{Crop: over}), events[len(events)-1].Payload, protocmp.Transform())
	diff(t, "ended again for that day", over, must[*schedulingv1.Crop](t)(end(crop, "2026-06-08", "")), protocmp.Transform())
	_, err = end(crop, "2026-06-09", "")
	refused(t, err, fault.Precondition, "CROP_ENDED", "crop_id")
	// The room is free from the day on which the crop was ended, weeks early.
	next := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-06-08"))

	off := must[*schedulingv1.Crop](t)(end(next, "2026-05-20", ""))
	if !off.GetCalledOff() || off.GetState() != ended || off.GetFillDate() != "2026-06-08" {
		t.Errorf("called off %v", off)
	}
	again := fill("gorse-hill-1", "white-bulk-2", "2026-06-10")
	if got := r.plan(t, again); got.GetState() != planned {
		t.Errorf("the room of a crop called off is not free: %v", got)
	}
}
