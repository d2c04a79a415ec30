package server

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// RecordStage records the day on which a step of a crop really began.
func (s *Server) RecordStage(ctx context.Context, req *schedulingv1.RecordStageRequest) (*schedulingv1.Crop, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.Crop{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.Crop, error) {
		record := &schedulingv1.StageRecord{CropId: req.GetCropId(), Kind: req.GetKind(), Date: req.GetDate()}
		crops, err := s.openCrops(ctx, tx, []string{record.GetCropId()}, single("crop_id"))
		if err != nil {
			return nil, err
		}
		crop := crops[record.GetCropId()]
		if err := crop.readAt(req.GetEtag()); err != nil {
			return nil, err
		}
		rules, err := workingRules(ctx, tx)
		if err != nil {
			return nil, err
		}
		if err := s.record(ctx, tx, crop, record, rules, ""); err != nil {
			return nil, err
		}
		if err := s.keep(ctx, tx, crop); err != nil {
			return nil, err
		}
		return cropMessage(crop.Crop, crop.programme), s.follow(ctx, tx, []store.Crop{crop.Crop}, rules)
	})
}

// BatchRecordStages records many steps, all or none, in the order given.
func (s *Server) BatchRecordStages(ctx context.Context, req *schedulingv1.BatchRecordStagesRequest) (*schedulingv1.BatchRecordStagesResponse, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.BatchRecordStagesResponse{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.BatchRecordStagesResponse, error) {
		ids := each(req.GetRecords(), (*schedulingv1.StageRecord).GetCropId)
		crops, err := s.openCrops(ctx, tx, ids, func(i int) string { return fmt.Sprintf("records[%d].crop_id", i) })
		if err != nil {
			return nil, err
		}
		rules, err := workingRules(ctx, tx)
		if err != nil {
			return nil, err
		}
		for i, r := range req.GetRecords() {
			if err := s.record(ctx, tx, crops[r.GetCropId()], r, rules, fmt.Sprintf("records[%d].", i)); err != nil {
				return nil, err
			}
		}
		answer := &schedulingv1.BatchRecordStagesResponse{}
		touched := make([]store.Crop, 0, len(crops))
		for _, id := range slices.Sorted(maps.Keys(crops)) {
			if err := s.keep(ctx, tx, crops[id]); err != nil {
				return nil, err
			}
			answer.Crops = append(answer.Crops, crops[id].lean())
			touched = append(touched, crops[id].Crop)
		}
		return answer, s.follow(ctx, tx, touched, rules)
	})
}

// open is a crop that is being changed.
type open struct {
	grown
	read int64 // the version that was read
}

// openCrops loads crops of the caller's to be changed, and locks their rooms, so
// that no plan is made on days that are about to shift.
func (s *Server) openCrops(ctx context.Context, tx pgx.Tx, ids []string, at pathOf) (map[string]*open, error) {
	found, err := store.GetCrops(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	for i, id := range ids {
		c, ok := found[id]
		if !ok {
			return nil, unknown("CROP", id, at(i), "plan the crop first")
		}
		if err := ownFarm(identity.Must(ctx), c.FarmID); err != nil {
			return nil, err
		}
	}
	rooms := each(slices.Collect(maps.Values(found)), func(c store.Crop) string { return c.RoomID })
	if _, err := store.LockRooms(ctx, tx, rooms); err != nil {
		return nil, err
	}
	if _, err := store.LockFacilities(ctx, tx); err != nil {
		return nil, err
	}
	// What was read before the lock may have changed while waiting for it.
	if found, err = store.GetCrops(ctx, tx, ids); err != nil {
		return nil, err
	}
	programmes, err := programmesOf(ctx, tx, slices.Collect(maps.Values(found)))
	if err != nil {
		return nil, err
	}
	out := make(map[string]*open, len(found))
	for id, c := range found {
		out[id] = &open{grown: grown{c, programmes[c.Programme]}, read: c.Version}
	}
	return out, nil
}

// readAt refuses a change by somebody who has read an older version; an empty etag
// changes whatever there is.
func (c *open) readAt(sent string) error {
	if sent == "" || sent == etag(c.Version) {
		return nil
	}
	return saving.StaleEtag(fmt.Sprintf("crop %q", c.ID), "etag", c.Change)
}

// record takes the day of one step into the crop and tells of it. A day that is
// recorded already changes nothing.
func (s *Server) record(ctx context.Context, tx pgx.Tx, c *open, r *schedulingv1.StageRecord, rules *calendar.Rules, prefix string) error {
	day, err := dateFrom(r.GetDate(), prefix+"date")
	if err != nil {
		return err
	}
	kind := stageKinds.word[r.GetKind()]
	i := slices.IndexFunc(c.Stages, func(st store.Stage) bool { return st.Kind == kind })
	if i < 0 {
		return fault.InvalidField(prefix+"kind", "programme %q has no %s; its steps are %q", c.Programme.ID, kind, each(c.Stages, func(st store.Stage) programme.StageKind { return st.Kind }))
	}
	if c.State == store.Ended {
		return endedFault(c, prefix+"crop_id")
	}
	if c.Stages[i].Actual != nil && *c.Stages[i].Actual == day {
		return nil
	}
	c.Stages[i].Actual = &day
	if i >= c.filling() {
		c.NotBefore = nil // what was waited for has come
	}
	dates, err := calendar.Compute(rulesCrop(c.Crop, c.programme), rules)
	if err != nil {
		return dateFault(err, prefix+"date")
	}
	lay(&c.Crop, dates)
	if c.filled() {
		c.State = store.Running
	}
	c.Change = s.change(ctx, c.Version+1)
	return tell(ctx, tx, "crop", "stage_reached", c.ID, &schedulingv1.CropStageReached{Crop: cropMessage(c.Crop, c.programme), Kind: r.GetKind()})
}

// filled reports whether filling, or a step after it, has really begun.
func (c *open) filled() bool {
	return slices.ContainsFunc(c.Stages[c.filling():], func(st store.Stage) bool { return st.Actual != nil })
}

// filling is the index of the crop's filling among its stages.
func (c *open) filling() int {
	return slices.IndexFunc(c.Stages, func(st store.Stage) bool { return st.Kind == programme.Filling })
}

// keep writes the crop where it has changed.
func (s *Server) keep(ctx context.Context, tx pgx.Tx, c *open) error {
	if c.Version == c.read {
		return nil
	}
	ok, err := store.PutCrop(ctx, tx, identity.Must(ctx).CoopID, c.read, c.Crop)
	if err != nil {
		return err
	}
	if !ok {
		return saving.Raced(fmt.Sprintf("crop %q", c.ID))
	}
	return nil
}

func endedFault(c *open, path string) error {
	return fault.New(fault.Precondition, "CROP_ENDED", "crop %q was ended for %s by %s; nothing more happens to it", c.ID, *c.Ended, c.By).
		WithField(path, "crop %q has ended", c.ID).WithMeta("endedDate", c.Ended.String())
}
