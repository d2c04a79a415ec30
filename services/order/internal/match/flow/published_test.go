package flow_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/order/internal/match/flow"
)

// transport builds the transportation problem of a table of costs: rows
// supply, columns demand.
func transport(supply, demand []int64, costs [][]int64) *flow.Problem {
	p := &flow.Problem{}
	p.Supply = append(p.Supply, supply...)
	for _, d := range demand {
		p.Supply = append(p.Supply, -d)
	}
	for i, row := range costs {
		for j, c := range row {
			p.From = append(p.From, int32(i))
			p.To = append(p.To, int32(len(supply)+j))
			p.Cap = append(p.Cap, flow.Unlimited)
			p.Cost = append(p.Cost, c)
		}
	}
	return p
}

// table puts the flows of a transportation problem back into rows.
func table(r flow.Result, columns int) [][]int64 {
	var rows [][]int64
	for at := 0; at < len(r.Flow); at += columns {
		rows = append(rows, r.Flow[at:at+columns])
	}
	return rows
}

func TestPublishedExamples(t *testing.T) {
	t.Parallel()
	ones := []int64{1, 1, 1, 1}
	cases := []struct {
		name           string // with its source
		supply, demand []int64
		costs          [][]int64
		cost           int64
		flows          [][]int64 // nil where several plans are optimal
	}{
		{
			name:   "P&T Company, Hillier and Lieberman, Introduction to Operations Research",
			supply: []int64{75, 125, 100}, demand: []int64{80, 65, 70, 85},
			costs: [][]int64{{464, 513, 654, 867}, {352, 416, 690, 791}, {995, 682, 388, 685}},
			cost:  152_535,
			flows: [][]int64{{0, 20, 0, 55}, {80, 45, 0, 0}, {0, 0, 70, 30}},
		},
		{
			name:   "Powerco, Winston, Operations Research, chapter 7",
			supply: []int64{35, 50, 40}, demand: []int64{45, 20, 30, 30},
			costs: [][]int64{{8, 6, 10, 9}, {9, 12, 13, 7}, {14, 9, 16, 5}},
			cost:  1_020,
			flows: [][]int64{{0, 10, 25, 0}, {45, 0, 5, 0}, {0, 10, 0, 30}},
		},
		{
			name:   "Machineco, Winston, Operations Research, chapter 7",
			supply: ones, demand: ones,
			costs: [][]int64{{14, 5, 8, 7}, {2, 12, 6, 5}, {7, 8, 3, 9}, {2, 4, 6, 10}},
			cost:  15,
			flows: [][]int64{{0, 1, 0, 0}, {0, 0, 0, 1}, {0, 0, 1, 0}, {1, 0, 0, 0}},
		},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := solve(t, transport(c.supply, c.demand, c.costs))
			if r.Cost != c.cost {
				t.Errorf("cost %d, the book gives %d", r.Cost, c.cost)
			}
			if d := cmp.Diff(c.flows, table(r, len(c.demand))); d != "" {
				t.Errorf("flows (-book +got):\n%s", d)
			}
		})
	}
}

// TestDantzigCanning is the canning example of Dantzig, Linear Programming and
// Extensions, 1963, chapter 3.3: two canneries that cannot ship more than they
// hold, three markets, freight of 90 dollars per case and thousand miles. In
// thousands of dollars the cost is 153.675 and the markets' duals are 0.225,
// 0.153 and 0.126; here the unit is a thousandth of that, a dollar.
func TestDantzigCanning(t *testing.T) {
	t.Parallel()
	const perThousandMiles = 90
	miles := [][]int64{{25, 17, 18}, {25, 18, 14}} // hundreds
	costs := make([][]int64, len(miles))
	for i, row := range miles {
		for _, m := range row {
			costs[i] = append(costs[i], m*perThousandMiles/10)
		}
		costs[i] = append(costs[i], 0) // what stays in the cannery
	}
	supply := []int64{350, 600}
	demand := []int64{325, 300, 275, 50}
	r := solve(t, transport(supply, demand, costs))
	if r.Cost != 153_675 {
		t.Errorf("cost %d, want 153675", r.Cost)
	}
	// A market's dual is its potential above that of the idle stock.
	idle := r.Potential[5]
	want := map[string]int64{"New York": 225, "Chicago": 153, "Topeka": 126}
	got := map[string]int64{"New York": r.Potential[2] - idle, "Chicago": r.Potential[3] - idle, "Topeka": r.Potential[4] - idle}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("duals (-want +got):\n%s", d)
	}
}
