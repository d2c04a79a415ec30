package server_test

import (
	"testing"

	"google.golang.org/protobuf/testing/protocmp"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

func TestSaveFacility(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	tunnel := schedulingv1.Place_PLACE_TUNNEL
	save := func(f *schedulingv1.Facility) (*schedulingv1.Facility, error) {
		return r.SaveFacility(r.office(t), &schedulingv1.SaveFacilityRequest{RequestId: ids.New(), Facility: f})
	}
	saved := r.facility(t, "gorse-hill-tunnel", "gorse-hill", tunnel)
	shared := r.facility(t, "yard-tunnel", "", tunnel)
	again := r.facility(t, "gorse-hill-tunnel", "gorse-hill", tunnel)
	diff(t, "saved again", saved, again, protocmp.Transform())
	list := func(of string) []*schedulingv1.Facility {
		return must[*schedulingv1.ListFacilitiesResponse](t)(r.ListFacilities(r.grower(t, of), &schedulingv1.ListFacilitiesRequest{})).GetFacilities()
	}
	diff(t, "of the own farm and shared", []*schedulingv1.Facility{saved, shared}, list("gorse-hill"), protocmp.Transform())
	diff(t, "of another farm", []*schedulingv1.Facility{shared}, list("elm-end"), protocmp.Transform())

	r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	for name, c := range map[string]struct {
		facility *schedulingv1.Facility
		kind     fault.Kind
		reason   string
		field    string
	}{
		"farm not there": {&schedulingv1.Facility{FacilityId: "t", FarmId: "nowhere", Name: "T", Place: tunnel}, fault.NotFound, "UNKNOWN_FARM", "facility.farm_id"},
		"name of a room": {&schedulingv1.Facility{FacilityId: "elm-end-1", Name: "T", Place: tunnel}, fault.Exists, "NAME_OF_A_ROOM", "facility.facility_id"},
		"a growing room": {&schedulingv1.Facility{FacilityId: "t", Name: "T", Place: schedulingv1.Place_PLACE_GROWING_ROOM}, fault.Invalid, "INVALID_REQUEST", "facility.place"},
		"without etag":   {&schedulingv1.Facility{FacilityId: "yard-tunnel", Name: "Other", Place: tunnel}, fault.Stale, "ETAG_NEEDED", "facility.etag"},
		"in use": {&schedulingv1.Facility{FacilityId: "gorse-hill-tunnel", Name: "Tunnel", Place: tunnel, Etag: saved.GetEtag()}, fault.Precondition,
			"FACILITY_IN_USE", "facility.place"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := save(c.facility)
			refused(t, err, c.kind, c.reason, c.field)
		})
	}
	_, err := r.SaveRoom(r.office(t), &schedulingv1.SaveRoomRequest{RequestId: ids.New(), Room: room("yard-tunnel", "elm-end", typev1.GrowingSystem_GROWING_SYSTEM_BAGS)})
	refused(t, err, fault.Exists, "NAME_OF_A_FACILITY", "room.room_id")
}

// A crop that came late into a tunnel which another still holds is shown as a
// conflict of the tunnel.
func TestCalendarNamesTunnelConflicts(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	must[*schedulingv1.Room](t)(r.SaveRoom(r.office(t), &schedulingv1.SaveRoomRequest{
		RequestId: ids.New(), Room: room("gorse-hill-2", "gorse-hill", typev1.GrowingSystem_GROWING_SYSTEM_BULK_PHASE_TWO),
	}))
	r.facility(t, "gorse-hill-tunnel", "gorse-hill", schedulingv1.Place_PLACE_TUNNEL)
	first := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	days := day(t, first.GetFillDate()) - day(t, stage(t, first, schedulingv1.StageKind_STAGE_KIND_PHASE_TWO).GetStartDate())
	second := r.plan(t, fill("gorse-hill-2", "white-bulk-2", shifted(t, "2026-04-06", days)))
	r.record(t, second.GetCropId(), phaseOne, stage(t, second, phaseOne).GetStartDate())
	r.record(t, first.GetCropId(), filling, "2026-04-08")
	conflicts := r.calendar(t, "2026-04-01", "2026-06-30", "").GetConflicts()
	if len(conflicts) != 1 || conflicts[0].GetRoomId() != "gorse-hill-tunnel" || conflicts[0].GetFirstCropId() != first.GetCropId() || conflicts[0].GetSecondCropId() != second.GetCropId() {
		t.Errorf("conflicts %v", conflicts)
	}
}
