package match

import (
	"context"

	"breakshare.example/services/order/internal/match/flow"
)

// Session runs a day again and again as its figures change, and keeps from each run the bases at
// which the solver ended: the next run starts from them. As long as the lots that have packs, the
// lines and the wishes are the same, a run after a small change takes a small part of the time of
// the first. The matches are as good as those of Run, aim for aim.
//
// The zero value is ready. It is not safe for use by several goroutines.
type Session struct {
	again   bool
	solvers []*flow.Solver
	counts  []int32
}

// Run is like the function Run.
func (s *Session) Run(ctx context.Context, d Day, told func(Step)) (Match, error) {
	s.again = true
	return s.run(ctx, d, told)
}

// at is the solver of a phase.
func (s *Session) at(phase int) *flow.Solver {
	for len(s.solvers) <= phase {
		s.solvers = append(s.solvers, &flow.Solver{})
	}
	return s.solvers[phase]
}
