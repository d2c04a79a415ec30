package demand_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/demand"
)

var tuesdays = demand.StandingOrder{
	CustomerID: "pan", From: calendar.On(2026, time.March, 10),
	Lines: []demand.StandingLine{
		{ProductID: "white", Weekday: time.Tuesday, Grams: 6000}, {ProductID: "white", Weekday: time.Friday, Grams: 4000},
		{ProductID: "oyster", Weekday: time.Friday, Grams: 900},
	},
	Rests: []demand.Rest{{From: calendar.On(2026, time.March, 24), Until: calendar.On(2026, time.March, 26)}},
}

func TestStandingAhead(t *testing.T) {
	t.Parallel()
	monday := calendar.On(2026, time.March, 2)
	last := calendar.On(2026, time.April, 3) // a Friday
	ending := tuesdays
	ending.CustomerID, ending.Until = "inn", &last
	ordered := func(customer string, day calendar.Date) bool {
		return customer == "pan" && day == calendar.On(2026, time.March, 13)
	}
	got := demand.StandingAhead([]demand.StandingOrder{tuesdays, ending}, "white", calendar.On(2026, time.March, 4), monday, 6, ordered)
	want := []demand.Standing{
		{Week: monday.Add(7), Grams: 16_000},  // one of the Fridays is ordered
		{Week: monday.Add(14), Grams: 20_000}, // all
		{Week: monday.Add(21), Grams: 8_000},  // Tuesday is a day of rest
		{Week: monday.Add(28), Grams: 20_000}, // the last day is a day too
		{Week: monday.Add(35), Grams: 10_000}, // one has ended
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	// A week half over asks for the days left.
	got = demand.StandingAhead([]demand.StandingOrder{tuesdays}, "white", calendar.On(2026, time.March, 11), monday.Add(7), 1, ordered)
	if len(got) != 0 {
		t.Errorf("after Tuesday, with Friday ordered, %v is left", got)
	}
}

// A customer who ordered by hand and now has a standing order is not counted twice:
// the forecast ahead is what it was.
func TestStandingOrderTakesThePlaceOfOrdersByHand(t *testing.T) {
	t.Parallel()
	monday := calendar.On(2026, time.March, 2)
	var past []demand.ByHand
	in := demand.Input{First: monday, Weeks: 4}
	for week := monday.Add(-7 * 20); week < monday; week = week.Add(7) {
		past = append(past, demand.ByHand{CustomerID: "pan", Week: week, Grams: 12_000}, demand.ByHand{CustomerID: "inn", Week: week, Grams: 30_000})
		in.History = append(in.History, demand.Past{Week: week, Grams: 42_000})
	}
	before, err := demand.Forecast(in)
	if err != nil {
		t.Fatal(err)
	}
	begun := tuesdays
	begun.From, begun.Rests = monday, nil
	orders := []demand.StandingOrder{begun}
	in.Standing = demand.StandingAhead(orders, "white", monday, monday, 4, func(string, calendar.Date) bool { return false })
	for i, r := range demand.Replaced(orders, "white", past) {
		if r.Week != in.History[i].Week || r.Grams != 10_000 {
			t.Fatalf("replaced %+v", r)
		}
		in.History[i].StandingGrams = r.Grams
	}
	after, err := demand.Forecast(in)
	if err != nil {
		t.Fatal(err)
	}
	for i, w := range after.Weeks {
		if w.StandingGrams != 10_000 || w.Grams != before.Weeks[i].Grams || w.Grams != 42_000 {
			t.Errorf("week %d: %+v, before %+v", i, w, before.Weeks[i])
		}
	}
	// What it ordered by hand beside its standing order, once that had begun, is loose.
	begun.From = monday.Add(-7)
	got := demand.Replaced([]demand.StandingOrder{begun}, "white", past)
	if len(got) != 19 || got[len(got)-1].Week != monday.Add(-14) {
		t.Errorf("replaced %v", got)
	}
}
