package server

import (
	"bytes"
	"testing"

	"github.com/google/go-cmp/cmp"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

func (r *rig) report(t *testing.T, who identity.Identity, in *harvestv1.Incident, photo []byte) (*harvestv1.ReportIncidentResponse, error) {
	t.Helper()
	return r.ReportIncident(testkit.Context(t, who), &harvestv1.ReportIncidentRequest{RequestId: ids.New(), Incident: in, Photo: photo})
}

// png is the start of a picture: what it is told by.
var png = append([]byte("\x89PNG\x0d\x0a\x1a\x0a"), bytes.Repeat([]byte{1}, 100)...)

// One sciarid larva in 125 g of casing costs half a per cent of the crop (AFBI,
// Insect pests of mushrooms: Sciaridae): of 100,000 that is 500.
func TestSciaridThreshold(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	value := int64(100_000)
	tests := []struct {
		larvae  int32
		cost    int64
		verdict harvestv1.IncidentVerdict
		loss    int64
	}{
		{1, 501, harvestv1.IncidentVerdict_INCIDENT_VERDICT_WAIT, 500},
		{1, 500, harvestv1.IncidentVerdict_INCIDENT_VERDICT_AT_THRESHOLD, 500},
		{2, 500, harvestv1.IncidentVerdict_INCIDENT_VERDICT_ACT, 1000},
	}
	for _, tt := range tests {
		resp, err := r.report(t, grower(coop, "alder-brook"), &harvestv1.Incident{
			RoomId: "ab-1", Pest: "Sciarid  fly", Counts: []*harvestv1.PestCount{{Larvae: tt.larvae, SampleGrams: 125}},
			CropValueMinor: &value, ControlCostMinor: &tt.cost,
		}, nil)
		if err != nil {
			t.Fatal(err)
		}
		if i := resp.GetIncident(); i.GetVerdict() != tt.verdict || i.GetExpectedLossMinor() != tt.loss || i.GetThresholdSource() == "" || i.GetFarmId() != "alder-brook" {
			t.Errorf("%d larvae, control for %d: %v", tt.larvae, tt.cost, i)
		}
		if len(resp.GetCautions()) == 0 {
			t.Error("no caution")
		}
	}
}

func TestIncidentIsRefusedNamingTheField(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	_, err := r.report(t, coop, &harvestv1.Incident{RoomId: "ab-1", Pest: "dragons"}, nil)
	refused(t, err, fault.Invalid, "incident.pest")
	_, err = r.report(t, coop, &harvestv1.Incident{RoomId: "ab-9", Pest: "cobweb"}, nil)
	refused(t, err, fault.Invalid, "incident.room_id")
	_, err = r.report(t, coop, &harvestv1.Incident{RoomId: "ab-1", Pest: "cobweb", Counts: []*harvestv1.PestCount{{Larvae: 1, SampleGrams: 1}}}, nil)
	refused(t, err, fault.Invalid, "incident.counts")
	_, err = r.report(t, coop, &harvestv1.Incident{RoomId: "ab-1", Pest: "cobweb"}, []byte("not a picture"))
	refused(t, err, fault.Invalid, "photo")
	_, err = r.report(t, coop, &harvestv1.Incident{RoomId: "ab-1", Pest: "cobweb"}, append(png, make([]byte, 2<<20)...))
	refused(t, err, fault.Invalid, "photo")
	_, err = r.report(t, grower(coop, "hill-end"), &harvestv1.Incident{RoomId: "ab-1", Pest: "cobweb"}, nil)
	refused(t, err, fault.Forbidden)
}

// A report holds what is to be sold of the room, and what comes after it; the
// end of the incident frees nothing by itself.
func TestIncidentHoldsTheRoom(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	ida := grower(coop, "alder-brook")
	r.pick(t, coop, "ab-1", "white-2kg", "2026-11-24", 5000)
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3), expect("he-1", "white-2kg", "2026-11-26", 1, 2, 3))
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-01", 1, 2, 3)) // over, and nothing came
	resp, err := r.report(t, ida, &harvestv1.Incident{RoomId: "ab-1", Pest: "dry bubble", HoldLots: true, Note: "by the door"}, png)
	if err != nil {
		t.Fatal(err)
	}
	var held []string
	for _, l := range resp.GetHeld() {
		held = append(held, l.GetPickLotId()+": "+l.GetHoldReason()+", "+l.GetHeldBy())
	}
	want := []string{"ab-1-white-2kg-20261124: dry bubble in the room, Ida of alder-brook", "ab-1-white-2kg-20261126: dry bubble in the room, Ida of alder-brook"}
	if diff := cmp.Diff(want, held); diff != "" {
		t.Errorf("held (-want +got):\n%s", diff)
	}
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-27", 1, 2, 3))
	if got := r.heldLots(t, coop); len(got) != 3 {
		t.Errorf("held are %q: a lot that comes later, too", got)
	}
	names := r.names(t, coop)
	if names[len(names)-2] != "PickLotHeld" && names[len(names)-1] != "PickLotHeld" {
		t.Errorf("told %q", names)
	}
	id := resp.GetIncident().GetIncidentId()
	photo, err := r.GetIncidentPhoto(testkit.Context(t, ida), &harvestv1.GetIncidentPhotoRequest{IncidentId: id})
	if err != nil || photo.GetMediaType() != "image/png" || !bytes.Equal(photo.GetPhoto(), png) {
		t.Errorf("the photo comes back as %s, %d bytes (%v)", photo.GetMediaType(), len(photo.GetPhoto()), err)
	}
	_, err = r.GetIncidentPhoto(testkit.Context(t, grower(coop, "hill-end")), &harvestv1.GetIncidentPhotoRequest{IncidentId: id})
	refused(t, err, fault.Forbidden)

	closed, err := r.CloseIncident(testkit.Context(t, ida), &harvestv1.CloseIncidentRequest{RequestId: ids.New(), IncidentId: id, Outcome: "cut out and covered"})
	if err != nil || closed.GetClosedAt() == nil || closed.GetClosedBy() != "Ida of alder-brook" {
		t.Fatalf("%v (%v)", closed, err)
	}
	_, err = r.CloseIncident(testkit.Context(t, ida), &harvestv1.CloseIncidentRequest{RequestId: ids.New(), IncidentId: id, Outcome: "again"})
	refused(t, err, fault.Precondition)
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-28", 1, 2, 3))
	if got := r.heldLots(t, coop); len(got) != 3 {
		t.Errorf("held are %q: closing frees nothing, and holds nothing more", got)
	}
	open, err := r.ListIncidents(testkit.Context(t, coop), &harvestv1.ListIncidentsRequest{})
	all, err2 := r.ListIncidents(testkit.Context(t, coop), &harvestv1.ListIncidentsRequest{ClosedToo: true})
	if err != nil || err2 != nil || len(open.GetIncidents()) != 0 || len(all.GetIncidents()) != 1 || !all.GetIncidents()[0].GetHasPhoto() {
		t.Errorf("open %v, all %v (%v, %v)", open, all, err, err2)
	}
}

// Youngest first, infected last (A. Sonnenberg, Wageningen UR, Hygiene in
// mushroom cultivation).
func TestRoomOrder(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	young := grown(crop("ab-3-20261110", "ab-3", "alder-brook", "white mushroom", running, [3]string{"2026-11-10", "2026-12-18", "2027-01-20"}, 1), "2026-11-24")
	r.hear(t, coop, "scheduling", room("ab-3", "alder-brook"), &schedulingv1.CropPlanned{Crop: young})
	visits := func() (out []string) {
		resp, err := r.GetRoomOrder(testkit.Context(t, grower(coop, "alder-brook")), &harvestv1.GetRoomOrderRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if resp.GetDate() != "2026-11-25" || len(resp.GetCautions()) == 0 {
			t.Errorf("%v", resp)
		}
		for _, v := range resp.GetVisits() {
			out = append(out, v.GetRoomId())
		}
		return out
	}
	// The oyster room bears, the white one is in its third break.
	if got := visits(); !cmp.Equal(got, []string{"ab-3", "ab-2", "ab-1"}) {
		t.Errorf("order %q", got)
	}
	if _, err := r.report(t, coop, &harvestv1.Incident{RoomId: "ab-3", Pest: "sciarid fly", Counts: []*harvestv1.PestCount{{Larvae: 0, SampleGrams: 500}}}, nil); err != nil {
		t.Fatal(err)
	}
	if got := visits(); !cmp.Equal(got, []string{"ab-3", "ab-2", "ab-1"}) {
		t.Errorf("no larva found, and the order is %q", got)
	}
	if _, err := r.report(t, coop, &harvestv1.Incident{RoomId: "ab-3", Pest: "green mould"}, nil); err != nil {
		t.Fatal(err)
	}
	if got := visits(); !cmp.Equal(got, []string{"ab-2", "ab-1", "ab-3"}) {
		t.Errorf("with green mould in it, the order is %q", got)
	}
}
