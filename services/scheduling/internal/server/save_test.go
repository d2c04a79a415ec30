package server_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/testkit"
)

func TestSaveCoop(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	ctx := r.office(t)
	_, err := r.GetCoop(ctx, &schedulingv1.GetCoopRequest{})
	refused(t, err, fault.NotFound, "NO_COOP", "")

	in := &schedulingv1.Coop{Name: "Stillwater Growers", TimeZone: "Europe/Dublin", CurrencyCode: "EUR"}
	saved := must[*schedulingv1.Coop](t)(r.SaveCoop(ctx, &schedulingv1.SaveCoopRequest{RequestId: ids.New(), Coop: in}))
	in.Etag = saved.GetEtag()
	in.MassUnit, in.TemperatureUnit = schedulingv1.MassUnit_MASS_UNIT_KILOGRAM, schedulingv1.TemperatureUnit_TEMPERATURE_UNIT_CELSIUS
	diff(t, "saved", in, saved, protocmp.Transform())
	diff(t, "read", saved, must[*schedulingv1.Coop](t)(r.GetCoop(ctx, &schedulingv1.GetCoopRequest{})), protocmp.Transform())

	in.Name = "Stillwater and Fenn"
	in.MassUnit, in.TemperatureUnit = schedulingv1.MassUnit_MASS_UNIT_POUND, schedulingv1.TemperatureUnit_TEMPERATURE_UNIT_FAHRENHEIT
	changed := must[*schedulingv1.Coop](t)(r.SaveCoop(ctx, &schedulingv1.SaveCoopRequest{RequestId: ids.New(), Coop: in}))
	if changed.GetEtag() == saved.GetEtag() {
		t.Error("the etag did not change with the name")
	}
	in.Etag = changed.GetEtag()
	diff(t, "changed", in, changed, protocmp.Transform())
	events := r.events(t)
	diff(t, "events", []string{"coop.saved " + r.coop.CoopID, "coop.saved " + r.coop.CoopID}, subjects(events))
	diff(t, "last event", proto.Message(&schedulingv1.CoopSaved{Coop: changed, Version: 2}), events[1].Payload, protocmp.Transform())

	for _, c := range []struct{ zone, currency, field string }{
		{"Europe/Atlantis", "EUR", "coop.time_zone"},
		{"Local", "EUR", "coop.time_zone"},
		{"Europe/Dublin", "XQX", "coop.currency_code"},
	} {
		_, err := r.SaveCoop(ctx, &schedulingv1.SaveCoopRequest{RequestId: ids.New(), Coop: &schedulingv1.Coop{Name: "X", TimeZone: c.zone, CurrencyCode: c.currency, Etag: changed.GetEtag()}})
		refused(t, err, fault.Invalid, fault.ReasonInvalidField, c.field)
	}
}

// The rule of saves: equal is left alone, other needs the etag, and a stale etag
// tells who changed it and when.
func TestSaveFarmByEtag(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	ctx := r.office(t)
	save := func(f *schedulingv1.Farm) (*schedulingv1.Farm, error) {
		return r.SaveFarm(ctx, &schedulingv1.SaveFarmRequest{RequestId: ids.New(), Farm: f})
	}
	first := must[*schedulingv1.Farm](t)(save(farm("elm-end")))
	again := must[*schedulingv1.Farm](t)(save(farm("elm-end")))
	diff(t, "an equal save", first, again, protocmp.Transform())

	other := farm("elm-end")
	other.MemberShares = 31
	_, err := save(other)
	refused(t, err, fault.Stale, "ETAG_NEEDED", "farm.etag")

	r.clock.Advance(time.Hour)
	other.Etag = first.GetEtag()
	second := must[*schedulingv1.Farm](t)(save(other))
	if second.GetMemberShares() != 31 || second.GetEtag() == first.GetEtag() {
		t.Errorf("changed farm %v", second)
	}

	other.MemberShares = 32
	_, err = save(other)
	f := refused(t, err, fault.Stale, "STALE_ETAG", "farm.etag")
	if f.Meta["changedBy"] != r.coop.Name || f.Meta["changedAt"] != "2026-03-02T13:00:00Z" || !strings.Contains(f.Message, r.coop.Name) {
		t.Errorf("a stale save is told %v %q", f.Meta, f.Message)
	}

	fresh := farm("oak-lane")
	fresh.Etag = "v1"
	_, err = save(fresh)
	refused(t, err, fault.NotFound, "NOTHING_TO_CHANGE", "farm.etag")
	diff(t, "events", []string{"farm.saved elm-end", "farm.saved elm-end"}, subjects(r.events(t)))
}

func TestSameRequestGetsTheFirstAnswer(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	ctx := r.office(t)
	req := &schedulingv1.SaveFarmRequest{RequestId: ids.New(), Farm: farm("elm-end")}
	first := must[*schedulingv1.Farm](t)(r.SaveFarm(ctx, req))
	diff(t, "the answer again", first, must[*schedulingv1.Farm](t)(r.SaveFarm(ctx, req)), protocmp.Transform())
	req.Farm.Name = "Another"
	_, err := r.SaveFarm(ctx, req)
	refused(t, err, fault.Exists, requestlog.ReasonReused, "")
	diff(t, "events", []string{"farm.saved elm-end"}, subjects(r.events(t)))
}

// A batch is taken whole or not at all, and its error leads to the element.
func TestBatchIsAllOrNone(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	ctx := r.office(t)
	shelves := typev1.GrowingSystem_GROWING_SYSTEM_SHELVES
	farms := func(in ...*schedulingv1.Farm) error {
		_, err := r.BatchSaveFarms(ctx, &schedulingv1.BatchSaveFarmsRequest{RequestId: ids.New(), Farms: in})
		return err
	}
	rooms := func(in ...*schedulingv1.Room) error {
		_, err := r.BatchSaveRooms(ctx, &schedulingv1.BatchSaveRoomsRequest{RequestId: ids.New(), Rooms: in})
		return err
	}
	nameless, noShares := farm("b"), farm("c")
	nameless.Name, noShares.MemberShares = "", 0
	noArea, system := room("a-2", "a", shelves), room("a-3", "a", 0)
	noArea.AreaM2 = 0
	if err := farms(farm("a")); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name   string
		err    error
		kind   fault.Kind
		reason string
		field  string
	}{
		{"no name", farms(farm("x"), nameless), fault.Invalid, "INVALID_REQUEST", "farms[1].name"},
		{"no shares", farms(farm("x"), farm("y"), noShares), fault.Invalid, "INVALID_REQUEST", "farms[2].member_shares"},
		{"id with spaces", farms(farm("El End")), fault.Invalid, "INVALID_REQUEST", "farms[0].farm_id"},
		{"twice", farms(farm("x"), farm("x")), fault.Invalid, fault.ReasonInvalidField, "farms[1].farm_id"},
		{"no area", rooms(room("a-1", "a", shelves), noArea), fault.Invalid, "INVALID_REQUEST", "rooms[1].area_m2"},
		{"no system", rooms(system), fault.Invalid, "INVALID_REQUEST", "rooms[0].growing_system"},
		{"farm not there", rooms(room("a-1", "a", shelves), room("z-1", "z", shelves)), fault.NotFound, "UNKNOWN_FARM", "rooms[1].farm_id"},
		{"room twice", rooms(room("a-1", "a", shelves), room("a-1", "a", shelves)), fault.Invalid, fault.ReasonInvalidField, "rooms[1].room_id"},
	} {
		t.Run(c.name, func(t *testing.T) { refused(t, c.err, c.kind, c.reason, c.field) })
	}
	diff(t, "events", []string{"farm.saved a"}, subjects(r.events(t)))
	if list := must[*schedulingv1.ListRoomsResponse](t)(r.ListRooms(ctx, &schedulingv1.ListRoomsRequest{})); len(list.GetRooms()) > 0 {
		t.Errorf("rooms %v of refused batches", list.GetRooms())
	}
}

func TestRoomWithCropsKeepsFarmAndSystem(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	ctx := r.office(t)
	r.settle(t)
	crop := r.plan(t, fill("elm-end-1", "white-shelves", "2026-04-06"))
	rooms := must[*schedulingv1.ListRoomsResponse](t)(r.ListRooms(ctx, &schedulingv1.ListRoomsRequest{FarmId: "elm-end"})).GetRooms()
	save := func(in *schedulingv1.Room) error {
		_, err := r.SaveRoom(ctx, &schedulingv1.SaveRoomRequest{RequestId: ids.New(), Room: in})
		return err
	}
	moved := proto.CloneOf(rooms[0])
	moved.FarmId = "gorse-hill"
	f := refused(t, save(moved), fault.Precondition, "ROOM_IN_USE", "room.farm_id")
	if f.Meta["crops"] != crop.GetCropId() {
		t.Errorf("meta %v does not name crop %s", f.Meta, crop.GetCropId())
	}
	rebuilt := proto.CloneOf(rooms[0])
	rebuilt.GrowingSystem = typev1.GrowingSystem_GROWING_SYSTEM_BAGS
	refused(t, save(rebuilt), fault.Precondition, "ROOM_IN_USE", "room.growing_system")
	wider := proto.CloneOf(rooms[0])
	wider.AreaM2 = 240
	if err := save(wider); err != nil {
		t.Fatal(err)
	}
	must[*schedulingv1.Crop](t)(r.EndCrop(ctx, &schedulingv1.EndCropRequest{RequestId: ids.New(), CropId: crop.GetCropId(), Date: "2026-04-01"}))
	moved.Etag = must[*schedulingv1.ListRoomsResponse](t)(r.ListRooms(ctx, &schedulingv1.ListRoomsRequest{FarmId: "elm-end"})).GetRooms()[0].GetEtag()
	if err := save(moved); err != nil {
		t.Errorf("an empty room cannot change its farm: %v", err)
	}
}

// What one co-op saves another neither sees nor hinders.
func TestCoopsAreApart(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	r.plan(t, fill("elm-end-1", "white-shelves", "2026-04-06"))
	mine := r.coop
	r.coop = testkit.Coop()
	ctx := r.office(t)
	if list := must[*schedulingv1.ListFarmsResponse](t)(r.ListFarms(ctx, &schedulingv1.ListFarmsRequest{})); len(list.GetFarms()) > 0 {
		t.Errorf("the other co-op sees %v", list.GetFarms())
	}
	_, err := r.PlanCrop(ctx, &schedulingv1.PlanCropRequest{RequestId: ids.New(), Plan: fill("elm-end-1", "white-shelves", "2026-04-06")})
	refused(t, err, fault.NotFound, "UNKNOWN_ROOM", "plan.room_id")
	r.settle(t)
	r.plan(t, fill("elm-end-1", "white-shelves", "2026-04-06"))
	if n := len(r.events(t)); n != 5 {
		t.Errorf("the other co-op tells %d events, want 5", n)
	}
	r.coop = identity.Identity{CoopID: mine.CoopID}
	if n := len(r.events(t)); n != 5 {
		t.Errorf("the first co-op tells %d events, want 5", n)
	}
}
