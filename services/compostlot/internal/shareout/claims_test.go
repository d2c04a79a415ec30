package shareout

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

var spring = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// onePot shares one slot of the given size among farms A, B, C… and returns
// what each got.
func onePot(t *testing.T, rule Rule, capacity int64, asked, weights []int64) []int64 {
	t.Helper()
	in := Round{Rule: rule, Slots: []Slot{{ID: "S", Date: spring, Phase: 2, CapacityKg: capacity}}}
	for i, kg := range asked {
		r := Request{ID: fmt.Sprintf("R%02d", i), Farm: fmt.Sprintf("F%02d", i), AskedKg: kg, Weight: 1, SlotIDs: []string{"S"}}
		if weights != nil {
			r.Weight = weights[i]
		}
		in.Requests = append(in.Requests, r)
	}
	out, err := ShareOut(in)
	if err != nil {
		t.Fatal(err)
	}
	if !out.Bound.Exact {
		t.Fatal("a divisible round must be exact")
	}
	var got []int64
	for _, a := range out.Answers {
		got = append(got, a.GrantedKg)
	}
	return got
}

// S. Keshav, An Engineering Approach to Computer Networking, 1997, pp. 215-217:
// the two worked examples of max-min fair shares, in grams so that they are
// whole numbers.
func TestKeshavMaxMin(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name           string
		capacity       int64
		asked, weights []int64
		want           []int64
	}{
		{"equal weights", 10_000, []int64{2000, 2600, 4000, 5000}, nil, []int64{2000, 2600, 2700, 2700}},
		{"weights 2.5, 4, 0.5, 1", 16_000, []int64{4000, 2000, 10_000, 4000}, []int64{5, 8, 1, 2}, []int64{4000, 2000, 6000, 4000}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			if d := cmp.Diff(c.want, onePot(t, ByEqualAwards, c.capacity, c.asked, c.weights)); d != "" {
				t.Error(d)
			}
		})
	}
}

// The grid of claims 100, 200, 300 of R. Aumann and M. Maschler, J. Econ.
// Theory 36, 1985, with the columns for constrained equal awards and for
// proportional division after their definitions (W. Thomson, How to Divide
// When There Isn't Enough, 2019). In units of 1/10000, rounded by largest
// remainder.
func TestClaimsGrid(t *testing.T) {
	t.Parallel()
	claims := []int64{1_000_000, 2_000_000, 3_000_000}
	for _, c := range []struct {
		estate              int64
		awards, proportions []int64
	}{
		{1_000_000, []int64{333_334, 333_333, 333_333}, []int64{166_667, 333_333, 500_000}},
		{2_000_000, []int64{666_667, 666_667, 666_666}, []int64{333_333, 666_667, 1_000_000}},
		{3_000_000, []int64{1_000_000, 1_000_000, 1_000_000}, []int64{500_000, 1_000_000, 1_500_000}},
		{4_000_000, []int64{1_000_000, 1_500_000, 1_500_000}, []int64{666_667, 1_333_333, 2_000_000}},
		{5_000_000, []int64{1_000_000, 2_000_000, 2_000_000}, []int64{833_333, 1_666_667, 2_500_000}},
	} {
		t.Run(fmt.Sprint(c.estate), func(t *testing.T) {
			t.Parallel()
			if d := cmp.Diff(c.awards, onePot(t, ByEqualAwards, c.estate, claims, nil)); d != "" {
				t.Error("equal awards", d)
			}
			if d := cmp.Diff(c.proportions, onePot(t, BySatisfiedShare, c.estate, claims, nil)); d != "" {
				t.Error("proportional", d)
			}
		})
	}
}

// Two windows: A takes only the first slot, B either, C only the second. The
// first slot has 10 and A asks 30; B and C ask 30 each and the second slot has
// 30. Lowest share first: A gets all of slot 1 (1/3), B and C half of slot 2
// each (1/2): worked by hand.
func TestSeveralSlots(t *testing.T) {
	t.Parallel()
	in := Round{
		Slots: []Slot{
			{ID: "S1", Date: spring, Phase: 2, CapacityKg: 10},
			{ID: "S2", Date: spring.AddDate(0, 0, 7), Phase: 2, CapacityKg: 30},
		},
		Requests: []Request{
			{ID: "a", Farm: "A", AskedKg: 30, Weight: 1, SlotIDs: []string{"S1"}},
			{ID: "b", Farm: "B", AskedKg: 30, Weight: 1, Window: Window{From: spring, To: spring.AddDate(0, 0, 9), Phases: []int{2}}},
			{ID: "c", Farm: "C", AskedKg: 30, Weight: 1, SlotIDs: []string{"S2"}},
		},
	}
	out, err := ShareOut(in)
	if err != nil {
		t.Fatal(err)
	}
	want := [][]Grant{{{"S1", 10}}, {{"S2", 15}}, {{"S2", 15}}}
	for i, a := range out.Answers {
		if d := cmp.Diff(want[i], a.Grants); d != "" {
			t.Error(a.RequestID, d)
		}
		if a.Reason != SlotsFull {
			t.Errorf("%s: bound by %v", a.RequestID, a.Reason)
		}
	}
}

func TestCheapestHaulAmongEqualShares(t *testing.T) {
	t.Parallel()
	in := Round{
		Slots: []Slot{{ID: "east", Date: spring, Phase: 2, CapacityKg: 1000}, {ID: "west", Date: spring, Phase: 2, CapacityKg: 1000}},
		Requests: []Request{
			{ID: "a", Farm: "A", AskedKg: 1000, Weight: 1, SlotIDs: []string{"east", "west"}, HaulCents: map[string]int64{"east": 900, "west": 500}},
			{ID: "b", Farm: "B", AskedKg: 1000, Weight: 1, SlotIDs: []string{"east", "west"}, HaulCents: map[string]int64{"east": 2000, "west": 700}},
		},
	}
	out, err := ShareOut(in)
	if err != nil {
		t.Fatal(err)
	}
	if out.HaulCents != 900+700 || out.Answers[1].Grants[0].SlotID != "west" {
		t.Errorf("haul %d with %+v, want 1600 with B in the west", out.HaulCents, out.Answers)
	}
}

// Equally cheap ways are settled by date: both requests can use both slots,
// and the later slot is touched only when the earlier is given out.
func TestEarliestSlotsAmongEqualHaul(t *testing.T) {
	t.Parallel()
	in := Round{
		Slots: []Slot{{ID: "a-late", Date: spring.AddDate(0, 0, 7), Phase: 2, CapacityKg: 1000}, {ID: "b-early", Date: spring, Phase: 2, CapacityKg: 1000}},
		Requests: []Request{
			{ID: "a", Farm: "A", AskedKg: 700, Weight: 1, SlotIDs: []string{"a-late", "b-early"}},
			{ID: "b", Farm: "B", AskedKg: 500, Weight: 1, SlotIDs: []string{"a-late", "b-early"}},
		},
	}
	out, err := ShareOut(in)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]Left{{"b-early", 0}, {"a-late", 800}}, out.Left); d != "" {
		t.Error(d)
	}
}
