package server_test

import (
	"context"
	"log/slog"
	"testing"
	"time"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/scheduling/internal/server/round"
	"breakshare.example/services/scheduling/internal/store"
)

// Overdue crops move once a day, by themselves, after midnight where the co-op is:
// in Auckland that is 13 hours before it is in Greenwich (time zone database,
// summer time until 5 April 2026).
func TestOverdueCropsMoveAfterMidnight(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	must[*schedulingv1.Coop](t)(r.SaveCoop(r.office(t), &schedulingv1.SaveCoopRequest{
		RequestId: ids.New(), Coop: &schedulingv1.Coop{Name: "Southern Growers", TimeZone: "Pacific/Auckland", CurrencyCode: "NZD"},
	}))
	crop := r.plan(t, fill("elm-end-1", "white-shelves", "2026-03-03"))
	ticks, made := make(chan time.Time), make(chan struct{}, 1)
	daily := round.New(round.Options{
		Log: slog.New(slog.DiscardHandler), Ticks: ticks, Made: func() { made <- struct{}{} },
		Coops: func(ctx context.Context) ([]string, error) { return store.CoopsWithCrops(ctx, r.pool) },
		Shift: r.server.ShiftDue,
	})
	if err := daily.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	<-made
	for _, c := range []struct {
		now, want string
	}{
		{"2026-03-03T10:59:00Z", "2026-03-03"}, // 23:59 of the day itself
		{"2026-03-03T11:01:00Z", "2026-03-04"},
		{"2026-03-04T10:00:00Z", "2026-03-04"}, // looked at again on the same day
		{"2026-03-06T12:00:00Z", "2026-03-07"}, // slept through two midnights
	} {
		now, err := time.Parse(time.RFC3339, c.now)
		if err != nil {
			t.Fatal(err)
		}
		r.clock.Set(now)
		ticks <- now
		<-made
		got := must[*schedulingv1.GetCalendarResponse](t)(r.GetCalendar(r.office(t), &schedulingv1.GetCalendarRequest{FromDate: "2026-03-01", ToDate: "2026-04-01"})).GetCrops()
		if len(got) != 1 || got[0].GetFillDate() != c.want {
			t.Errorf("at %s the calendar has %v, want the fill on %s", c.now, got, c.want)
		}
	}
	if err := daily.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	diff(t, "told", map[string]int{"crop.planned " + crop.GetCropId(): 1, "crop.moved " + crop.GetCropId(): 2}, cropEvents(count(r.events(t))))
}

func cropEvents(counts map[string]int) map[string]int {
	for k := range counts {
		if len(k) < 5 || k[:5] != "crop." {
			delete(counts, k)
		}
	}
	return counts
}
