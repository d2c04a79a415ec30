package onemachine_test

import (
	"testing"
	"time"

	"github.com/google/uuid"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/testkit"
)

// Nobody pushed: the day is closed, and the match sells what the forecast says. A push takes
// its place there, and an incident in the room takes all of it away again within two seconds.
func TestForecastStandsInForTheMatchUntilSomebodyPushes(t *testing.T) {
	t.Parallel()
	d := newDay(t, startStack(t), testkit.Coop())
	d.settle()
	d.grow()
	d.waitForCrop()
	var closed *harvestv1.CloseDayResponse
	testkit.Eventually(t, "the forecast to stand in", func() bool {
		answer, err := d.harvest.CloseDay(d.ctx, &harvestv1.CloseDayRequest{RequestId: uuid.NewString(), Date: deliveryDay})
		closed = must(t, "close the day", answer, err)
		return closed.GetStandIns() == 1
	})
	stood := closed.GetOutlooks()[0]
	if stood.GetSaid() != nil || stood.GetUsed().GetLikelyGrams() <= 0 || stood.GetRoomId() != roomID {
		t.Fatalf("the forecast stands in as %v", stood)
	}
	d.placeOrders()
	supplied := func(step string) int64 {
		var packs int64
		for _, a := range d.run(step).GetAllocations() {
			packs += a.GetPacks()
		}
		return packs
	}
	sold := int64(45) // all that is ordered, if there is that much
	want := min(sold, stood.GetUsed().GetLikelyGrams()/2000)
	testkit.Eventually(t, "the match to sell what the forecast says", func() bool { return supplied("stand-in") == want })

	small := push()
	for _, e := range small.GetExpectedPicks() {
		e.LowGrams, e.LikelyGrams, e.HighGrams = 8000, 10000, 12000
	}
	must(t, "push", small, second(d.harvest.PushExpectedPicks(d.ctx, small)))
	testkit.Eventually(t, "the match to sell what was pushed", func() bool { return supplied("push") == 5 })

	start := time.Now()
	reported, err := d.harvest.ReportIncident(d.ctx, &harvestv1.ReportIncidentRequest{RequestId: uuid.NewString(), Incident: &harvestv1.Incident{
		RoomId: roomID, Pest: "dry bubble", HoldLots: true,
	}})
	must(t, "report an incident", reported, err)
	testkit.Eventually(t, "the hold to reach the match", func() bool { return supplied("hold") == 0 })
	took := time.Since(start)
	t.Logf("from the report to a match without the room: %s", took)
	if took > 2*time.Second {
		t.Errorf("the hold took %s to reach the match, want two seconds at most", took)
	}
}
