package demoday

import (
	"slices"
	"sync"
	"testing"
	"time"

	"breakshare.example/deploy/internal/coopfiles"
	"breakshare.example/deploy/internal/importer"
	"breakshare.example/deploy/internal/suitetest"
	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

// BenchmarkPushesToSupply has 32 clients push single figures into a whole suite, and takes the time
// until each answer, and until order has taken all of them into its supply. The database of tests
// does not force commits to disk.
func BenchmarkPushesToSupply(b *testing.B) {
	const clients, each = 32, 40
	folder, err := coopfiles.Read(demoCoop)
	if err != nil {
		b.Fatal(err)
	}
	plan, err := NewPlan(folder, "")
	if err != nil {
		b.Fatal(err)
	}
	stack := suitetest.Start(b, NewClock(plan.Afternoon()))
	c, err := importer.Connect(stack.Dial)
	if err != nil {
		b.Fatal(err)
	}
	ctx := testkit.Context(b, identity.Identity{CoopID: folder.Coop.CoopID, Role: identity.Coordinator, Name: "Test"})
	if _, err := (importer.Importer{Clients: c}).Import(ctx, folder); err != nil {
		b.Fatal(err)
	}
	operator := testkit.Context(b, identity.Identity{CoopID: folder.Coop.CoopID, Role: identity.Operator, Name: "Test"})
	standing := func(service string) *eventlogv1.GetStandingResponse {
		conn, err := stack.Dial(service)
		if err != nil {
			b.Fatal(err)
		}
		s, err := eventlogv1.NewEventLogServiceClient(conn).GetStanding(operator, &eventlogv1.GetStandingRequest{})
		if err != nil {
			b.Fatal(err)
		}
		return s
	}
	taken := func() bool {
		harvest := standing("harvest")
		return harvest.GetUnpublished() == 0 && slices.ContainsFunc(standing("order").GetReadings(), func(r *eventlogv1.Reading) bool {
			return r.GetSource() == "harvest" && r.GetLastSequence() >= harvest.GetLastSequence()
		})
	}
	var answered, supplied time.Duration
	var waits []time.Duration
	n := 0
	for b.Loop() {
		testkit.Eventually(b, "order to have taken in all that came before", taken)
		n++
		times := make([][]time.Duration, clients)
		var wg sync.WaitGroup
		start := time.Now()
		for client := range clients {
			wg.Go(func() {
				for i := range each {
					e := folder.ExpectedPicks[(client*each+i*7)%len(folder.ExpectedPicks)]
					grams := int64(1000 + 100_000*n + client*each + i)
					began := time.Now()
					_, err := c.Harvest.PushExpectedPicks(ctx, &harvestv1.PushExpectedPicksRequest{RequestId: ids.New(), ConfirmLarge: true, ExpectedPicks: []*harvestv1.ExpectedPick{
						{RoomId: e.RoomID, ProductId: e.ProductID, Date: e.Date, LowGrams: grams, LikelyGrams: grams, HighGrams: grams},
					}})
					if err != nil {
						b.Error(err)
						return
					}
					times[client] = append(times[client], time.Since(began))
				}
			})
		}
		wg.Wait()
		answered += time.Since(start)
		testkit.Eventually(b, "order to have taken in the pushes", taken)
		supplied += time.Since(start)
		waits = append(waits, slices.Concat(times...)...)
	}
	slices.Sort(waits)
	pushes := float64(n * clients * each)
	b.ReportMetric(pushes/answered.Seconds(), "pushes/s")
	b.ReportMetric(pushes/supplied.Seconds(), "supplied/s")
	b.ReportMetric(float64(waits[len(waits)*99/100].Milliseconds()), "p99-ms")
}
