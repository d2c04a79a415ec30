package server

import (
	"context"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/store"
)

// SaveFacility creates or changes one tunnel or other room.
func (s *Server) SaveFacility(ctx context.Context, req *schedulingv1.SaveFacilityRequest) (*schedulingv1.Facility, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.Facility{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.Facility, error) {
		return s.saveFacility(ctx, tx, req.GetFacility())
	})
}

// ListFacilities returns the facilities that the caller may see, by id.
func (s *Server) ListFacilities(ctx context.Context, _ *schedulingv1.ListFacilitiesRequest) (*schedulingv1.ListFacilitiesResponse, error) {
	farmID, err := visibleFarm(identity.Must(ctx), "")
	if err != nil {
		return nil, err
	}
	answer := &schedulingv1.ListFacilitiesResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		facilities, err := store.ListFacilities(ctx, tx, farmID)
		answer.Facilities = each(facilities, facilityMessage)
		return err
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

func (s *Server) saveFacility(ctx context.Context, tx pgx.Tx, in *schedulingv1.Facility) (*schedulingv1.Facility, error) {
	if err := facilityMayBe(ctx, tx, in); err != nil {
		return nil, err
	}
	all, err := store.LockFacilities(ctx, tx)
	if err != nil {
		return nil, err
	}
	var old store.Facility
	i := slices.IndexFunc(all, func(f store.Facility) bool { return f.ID == in.GetFacilityId() })
	if i >= 0 {
		old = all[i]
	}
	f := store.Facility{ID: in.GetFacilityId(), FarmID: in.GetFarmId(), Name: in.GetName(), Place: places.word[in.GetPlace()], Change: old.Change}
	save := saving.Save{Thing: fmt.Sprintf("facility %q", f.ID), Path: "facility", Etag: in.GetEtag(), Found: i >= 0, Equal: f == old, Last: old.Change}
	write, err := save.Decide()
	if err != nil {
		return nil, err
	}
	if !write {
		return facilityMessage(old), nil
	}
	if i >= 0 && (f.Place != old.Place || f.FarmID != old.FarmID) {
		if err := facilityIsIdle(ctx, tx, f.ID); err != nil {
			return nil, err
		}
	}
	f.Change = s.change(ctx, old.Version+1)
	if ok, err := store.PutFacility(ctx, tx, identity.Must(ctx).CoopID, f); err != nil {
		return nil, err
	} else if !ok {
		return nil, saving.Raced(save.Thing)
	}
	return facilityMessage(f), nil
}

// facilityMayBe refuses a facility on a farm that is not there, or under the id of
// a growing room: in the calendar one name stands for one place.
func facilityMayBe(ctx context.Context, tx pgx.Tx, in *schedulingv1.Facility) error {
	if farmID := in.GetFarmId(); farmID != "" {
		farms, err := store.LockFarms(ctx, tx, []string{farmID})
		if err != nil {
			return err
		}
		if _, ok := farms[farmID]; !ok {
			return unknown("FARM", farmID, "facility.farm_id", "save the farm first, or leave it empty for a facility that all share")
		}
	}
	rooms, err := store.LockRooms(ctx, tx, []string{in.GetFacilityId()})
	if err != nil {
		return err
	}
	if len(rooms) > 0 {
		return fault.New(fault.Exists, "NAME_OF_A_ROOM", "facility.facility_id: %q is a growing room; choose another id", in.GetFacilityId()).
			WithField("facility.facility_id", "is a growing room; choose another id")
	}
	return nil
}

// facilityIsIdle refuses another farm or use while crops pass through.
func facilityIsIdle(ctx context.Context, tx pgx.Tx, id string) error {
	crops, err := store.ListFacilityCrops(ctx, tx, []string{id}, calendar.FirstDate)
	if err != nil {
		return err
	}
	for _, c := range crops {
		if c.State != store.Ended {
			return fault.New(fault.Precondition, "FACILITY_IN_USE", "facility %q is kept for crop %q, which has not ended; end it before the facility changes its farm or use", id, c.ID).
				WithField("facility.place", "cannot change while crops pass through").WithMeta("cropId", c.ID)
		}
	}
	return nil
}

func facilityMessage(f store.Facility) *schedulingv1.Facility {
	return &schedulingv1.Facility{FacilityId: f.ID, FarmId: f.FarmID, Name: f.Name, Place: places.enum[f.Place], Etag: etag(f.Version)}
}
