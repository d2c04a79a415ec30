package server_test

import (
	"fmt"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
)

// granted is what each request got.
func granted(shares []*compostlotv1.Share) map[string]int64 {
	out := map[string]int64{}
	for _, s := range shares {
		out[s.GetCompostRequestId()] = s.GetGrantedKg()
	}
	return out
}

// Weighted max-min with member shares 1, 1 and 2 of 100 kg: Cedar's 40 at twice the weight are
// filled first; 60 are left for two equal farms that asked for 60 and 30, in proportion.
func TestShareOutPreviewAndConfirm(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.publish(t, slot("s1", "2026-03-20", 60), slot("s2", "2026-03-22", 40), slot("april", "2026-04-22", 40))
	r.ask(t, asks("a", "alder-1", 60, "2026-03-20", "2026-03-25"), asks("b", "birch-1", 30, "2026-03-20", "2026-03-25"),
		asks("c", "cedar-1", 40, "2026-03-20", "2026-03-25"), asks("early", "cedar-2", 5, "2026-03-10", "2026-03-12"))
	before := r.eventsOf(t)
	preview := must[*compostlotv1.Round](t)(r.ShareOut(r.as(t, identity.YardManager, "quarry"), march(false)))
	if diff := cmp.Diff(map[string]int64{"a": 40, "b": 20, "c": 40, "early": 0}, granted(preview.GetShares())); diff != "" {
		t.Errorf("preview (-want +got):\n%s", diff)
	}
	if preview.GetRoundId() != "" || preview.GetConfirmedAt() != nil || r.slots(t)[0].GetFreeKg() != 60 {
		t.Error("a preview changed something")
	}
	if diff := cmp.Diff(before, r.eventsOf(t)); diff != "" {
		t.Errorf("events of a preview (-want +got):\n%s", diff)
	}

	ask := march(true)
	round := must[*compostlotv1.Round](t)(r.ShareOut(r.office(t), ask))
	if diff := cmp.Diff(preview.GetShares(), round.GetShares(), protocmp.Transform()); diff != "" {
		t.Errorf("confirmed differs from the preview:\n%s", diff)
	}
	if round.GetRoundId() != "round-1" || round.GetConfirmedBy() != "Office" || !round.GetExact() || round.GetMostKg() != 100 {
		t.Errorf("round %v", round)
	}
	if diff := cmp.Diff(round, must[*compostlotv1.Round](t)(r.ShareOut(r.office(t), ask)), protocmp.Transform()); diff != "" {
		t.Errorf("the same confirmation again (-want +got):\n%s", diff)
	}
	for _, s := range r.slots(t) {
		free, state := int64(0), compostlotv1.SlotState_SLOT_STATE_SHARED
		if s.GetSlotId() == "april" {
			free, state = 40, compostlotv1.SlotState_SLOT_STATE_OPEN
		}
		if s.GetFreeKg() != free || s.GetState() != state {
			t.Errorf("slot %v", s)
		}
	}
	if got := r.eventsOf(t)["share.granted"]; got != 4 {
		t.Errorf("%d shares told, want 4", got)
	}
	own := must[*compostlotv1.ListCompostRequestsResponse](t)(r.ListCompostRequests(r.as(t, identity.Grower, "cedar"), &compostlotv1.ListCompostRequestsRequest{}))
	if diff := cmp.Diff(map[string]int64{"c": 40, "early": 0}, granted(own.GetShares())); diff != "" {
		t.Errorf("a grower's shares (-want +got):\n%s", diff)
	}
	// A request with its share is settled.
	first := own.GetCompostRequests()[0]
	first.WantedKg++
	_, err := r.RequestCompost(r.office(t), &compostlotv1.RequestCompostRequest{RequestId: ids.New(), CompostRequest: first})
	refused(t, err, fault.Precondition, "REQUEST_GRANTED", "compost_request.compost_request_id")
	_, err = r.ShareOut(r.office(t), march(true))
	refused(t, err, fault.Precondition, "NOTHING_TO_SHARE", "from_date")
}

// What a round leaves is given by the next one; slots of other phases are nobody's.
func TestNextRoundGivesWhatIsLeft(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	other := slot("phase-three", "2026-03-20", 500)
	other.Phase = typev1.CompostPhase_COMPOST_PHASE_THREE
	r.publish(t, slot("s1", "2026-03-20", 100), other)
	_, err := r.ShareOut(r.office(t), march(true))
	refused(t, err, fault.Precondition, "NOTHING_TO_SHARE", "from_date") // nobody asks yet
	r.ask(t, asks("a", "alder-1", 30, "2026-03-20", "2026-03-20"))
	must[*compostlotv1.Round](t)(r.ShareOut(r.office(t), march(true)))
	whole := asks("b", "birch-1", 80, "2026-03-20", "2026-03-20")
	whole.WholeFill = true
	r.ask(t, whole)
	_, err = r.ShareOut(r.office(t), march(true))
	refused(t, err, fault.Precondition, "NOTHING_TO_SHARE", "from_date") // 70 kg are no whole fill
	r.ask(t, asks("c", "cedar-1", 50, "2026-03-20", "2026-03-20"))
	round := must[*compostlotv1.Round](t)(r.ShareOut(r.office(t), march(true)))
	if diff := cmp.Diff(map[string]int64{"b": 0, "c": 50}, granted(round.GetShares())); diff != "" {
		t.Errorf("second round (-want +got):\n%s", diff)
	}
	if s := r.slots(t); s[1].GetFreeKg() != 20 || s[0].GetFreeKg() != 500 {
		t.Errorf("slots %v", s)
	}
}

// A cut-off holds: who asks after it gets nothing of the slot, and is told so at once where
// no other slot is left to wait for.
func TestCutOff(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.publish(t, slot("s1", "2026-03-20", 100)) // closes on 15 March
	r.clock.Set(noon.AddDate(0, 0, 14))
	late := asks("late", "alder-1", 50, "2026-03-20", "2026-03-20")
	_, err := r.RequestCompost(r.office(t), &compostlotv1.RequestCompostRequest{RequestId: ids.New(), CompostRequest: late})
	refused(t, err, fault.Precondition, "AFTER_CUTOFF", "compost_request.latest_date")
	late.LatestDate = "2026-03-25"
	s2 := slot("s2", "2026-03-25", 10)
	s2.RequestCutoff = timestamppb.New(noon.AddDate(0, 0, 20))
	r.publish(t, s2)
	r.ask(t, late)
	if got := granted(must[*compostlotv1.Round](t)(r.ShareOut(r.office(t), march(false))).GetShares()); got["late"] != 10 {
		t.Errorf("late request got %d kg, want the 10 kg of the slot that was open", got["late"])
	}
	one := march(false)
	one.ToDate = "2026-03-20"
	share := must[*compostlotv1.Round](t)(r.ShareOut(r.office(t), one)).GetShares()[0]
	if share.GetLimit() != compostlotv1.ShareLimit_SHARE_LIMIT_NO_SLOT_IN_WINDOW || !strings.Contains(share.GetExplanation(), "cut-off") {
		t.Errorf("share %v", share)
	}
}

func TestBadRequests(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.ask(t, asks("known", "alder-2", 10, "2026-03-20", "2026-03-25"))
	for name, c := range map[string]struct {
		change func(*compostlotv1.CompostRequest)
		kind   fault.Kind
		field  string
	}{
		"no such day":    {func(c *compostlotv1.CompostRequest) { c.EarliestDate = "2026-02-30" }, fault.Invalid, "compost_requests[1].earliest_date"},
		"backwards":      {func(c *compostlotv1.CompostRequest) { c.LatestDate = "2026-03-01" }, fault.Invalid, "compost_requests[1].latest_date"},
		"unknown farm":   {func(c *compostlotv1.CompostRequest) { c.FarmId = "ash" }, fault.Invalid, "compost_requests[1].farm_id"},
		"unknown room":   {func(c *compostlotv1.CompostRequest) { c.RoomId = "alder-9" }, fault.Invalid, "compost_requests[1].room_id"},
		"another's room": {func(c *compostlotv1.CompostRequest) { c.RoomId = "birch-1" }, fault.Invalid, "compost_requests[1].room_id"},
		"unknown crop":   {func(c *compostlotv1.CompostRequest) { c.CropId = "alder-1-20200101" }, fault.Invalid, "compost_requests[1].crop_id"},
		"useless":        {func(c *compostlotv1.CompostRequest) { c.SmallestUsefulKg = 11 }, fault.Invalid, "compost_requests[1].smallest_useful_kg"},
		"no phase":       {func(c *compostlotv1.CompostRequest) { c.Phases = nil }, fault.Invalid, "compost_requests[1].phases"},
		"other content":  {func(c *compostlotv1.CompostRequest) { c.CompostRequestId = "known" }, fault.Stale, "compost_requests[1].etag"},
		"twice":          {func(c *compostlotv1.CompostRequest) { c.CompostRequestId = "good" }, fault.Invalid, "compost_requests[1].compost_request_id"},
	} {
		bad := asks("bad", "alder-1", 10, "2026-03-20", "2026-03-25")
		c.change(bad)
		_, err := r.BatchRequestCompost(r.office(t), &compostlotv1.BatchRequestCompostRequest{RequestId: ids.New(), CompostRequests: []*compostlotv1.CompostRequest{
			asks("good", "alder-1", 10, "2026-03-20", "2026-03-25"), bad,
		}})
		t.Run(name, func(t *testing.T) { refused(t, err, c.kind, "", c.field) })
	}
	list := must[*compostlotv1.ListCompostRequestsResponse](t)(r.ListCompostRequests(r.office(t), &compostlotv1.ListCompostRequestsRequest{}))
	if got := list.GetCompostRequests(); len(got) != 1 || got[0].GetCompostRequestId() != "known" {
		t.Errorf("requests %v", got)
	}
	named := must[*compostlotv1.CompostRequest](t)(r.RequestCompost(r.office(t), &compostlotv1.RequestCompostRequest{RequestId: ids.New(), CompostRequest: asks("", "alder-1", 10, "2026-03-20", "2026-03-25")}))
	if named.GetCompostRequestId() != "alder-1-20260320" {
		t.Errorf("formed id %q", named.GetCompostRequestId())
	}
}

// What has not arrived by events is asked of scheduling, once; when scheduling is down, what
// is known still works.
func TestUnknownFarmIsAskedOfItsOwner(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.scheduling.down.Store(true)
	ask := &compostlotv1.RequestCompostRequest{RequestId: ids.New(), CompostRequest: asks("a", "alder-1", 10, "2026-03-20", "2026-03-25")}
	_, err := r.RequestCompost(r.office(t), ask)
	refused(t, err, fault.Unavailable, "", "")
	r.scheduling.down.Store(false)
	must[*compostlotv1.CompostRequest](t)(r.RequestCompost(r.office(t), ask))
	calls := r.scheduling.calls.Load()
	r.scheduling.down.Store(true)
	r.ask(t, asks("b", "birch-2", 10, "2026-03-20", "2026-03-25"))
	if got := r.scheduling.calls.Load(); got != calls {
		t.Errorf("asked scheduling %d times more for what is known", got-calls)
	}
}

// Fifty callers ask, publish and confirm at once: no slot gives more than it has, no request
// is granted twice, and the books agree.
func TestManyRoundsAtOnceNeverOversell(t *testing.T) {
	t.Parallel()
	r := newRigAlone(t)
	r.yards(t)
	r.publish(t, slot("s0", "2026-03-20", 997), slot("s1", "2026-03-21", 501), slot("s2", "2026-03-22", 250))
	rooms := []string{"alder-1", "alder-2", "birch-1", "birch-2", "cedar-1", "cedar-2"}
	var wg sync.WaitGroup
	for i := range 50 {
		wg.Go(func() {
			id := fmt.Sprintf("r%02d", i)
			req := asks(id, rooms[i%len(rooms)], int64(20+7*i), "2026-03-20", fmt.Sprintf("2026-03-2%d", i%3))
			req.WholeFill = i%5 == 0
			if _, err := r.RequestCompost(r.office(t), &compostlotv1.RequestCompostRequest{RequestId: ids.New(), CompostRequest: req}); err != nil {
				t.Errorf("request %s: %v", id, err)
			}
			if i == 25 {
				r.publish(t, slot("s3", "2026-03-20", 300))
			}
			_, err := r.ShareOut(r.office(t), march(true))
			if err != nil && fault.FromStatus(err).Reason != "NOTHING_TO_SHARE" {
				t.Errorf("confirm: %v", err)
			}
		})
	}
	wg.Wait()
	taken, had := map[string]int64{}, map[string]bool{}
	for _, e := range r.events(t) {
		granted, ok := e.Payload.(*compostlotv1.ShareGranted)
		if !ok || granted.GetShare().GetGrantedKg() == 0 {
			continue
		}
		if had[e.Of] {
			t.Errorf("request %s was granted twice", e.Of)
		}
		had[e.Of] = true
		sum := int64(0)
		for _, part := range granted.GetShare().GetSlots() {
			taken[part.GetSlotId()] += part.GetGrantedKg()
			sum += part.GetGrantedKg()
		}
		if sum != granted.GetShare().GetGrantedKg() {
			t.Errorf("the parts of %s add up to %d kg of %d", e.Of, sum, granted.GetShare().GetGrantedKg())
		}
	}
	if len(had) == 0 {
		t.Error("nobody got anything")
	}
	for _, s := range r.slots(t) {
		if taken[s.GetSlotId()]+s.GetFreeKg() != s.GetCapacityKg() {
			t.Errorf("slot %s of %d kg: %d granted, %d free", s.GetSlotId(), s.GetCapacityKg(), taken[s.GetSlotId()], s.GetFreeKg())
		}
	}
}
