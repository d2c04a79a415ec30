package flow_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"breakshare.example/services/order/internal/match/flow"
)

// detour is a problem with a cheap way of capacity 4 and a dear direct one.
func detour() *flow.Problem {
	return &flow.Problem{
		Supply: []int64{6, 0, -6},
		From:   []int32{0, 1, 0}, To: []int32{1, 2, 2},
		Low: []int64{0, 1, 0}, Cap: []int64{9, 4, 9}, Cost: []int64{1, 1, 5},
	}
}

func TestVerifyRejects(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name  string
		spoil func(*flow.Result)
		says  string
	}{
		{"flow above capacity", func(r *flow.Result) { r.Flow[1] = 5 }, "arc 1: flow 5 is outside 1..4"},
		{"flow below least", func(r *flow.Result) { r.Flow[1] = 0 }, "arc 1: flow 0 is outside 1..4"},
		{"conservation broken", func(r *flow.Result) { r.Flow[0]++ }, "node 0: supply 6 leaves -1 unsent"},
		{"dearer flow", func(r *flow.Result) {
			r.Flow[0], r.Flow[1], r.Flow[2] = 3, 3, 3
			r.Cost = 21
		}, "arc 1: reduced cost -3 with flow 3 below capacity 4"},
		{"wrong potential", func(r *flow.Result) { r.Potential[2]-- }, "arc 2: reduced cost 1 with flow 2 above the least"},
		{"absurd potential", func(r *flow.Result) { r.Potential[1] = 1 << 62 }, "node 1: potential"},
		{"wrong cost", func(r *flow.Result) { r.Cost++ }, "cost is given as 19, the flows cost 18"},
		{"flow missing", func(r *flow.Result) { r.Flow = r.Flow[1:] }, "2 flows for 3 arcs"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p := detour()
			r := solve(t, p)
			r.Flow, r.Potential = slices.Clone(r.Flow), slices.Clone(r.Potential)
			c.spoil(&r)
			err := flow.Verify(p, r)
			var fault *flow.CertificateError
			if !errors.As(err, &fault) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("error %v; want one that says %q", err, c.says)
			}
		})
	}
}

func TestVerifyRefusesMalformedProblem(t *testing.T) {
	t.Parallel()
	p := detour()
	r := solve(t, p)
	p.To[0] = 7
	var malformed *flow.MalformedError
	if err := flow.Verify(p, r); !errors.As(err, &malformed) {
		t.Errorf("error %v; want MalformedError", err)
	}
}

// TestVerifyAcceptsAnyOptimum: the proof does not depend on the solver.
func TestVerifyAcceptsAnyOptimum(t *testing.T) {
	t.Parallel()
	r := flow.Result{Flow: []int64{4, 4, 2}, Potential: []int64{100, 101, 105}, Cost: 18}
	if err := flow.Verify(detour(), r); err != nil {
		t.Error(err)
	}
}
