package match

import "breakshare.example/services/order/internal/match/flow"

// rest is what of a problem is still open: arcs that have room, and their nodes. In the place of
// the arc of a share stand its steps.
type rest struct {
	arcs, nodes []int32
	shares      []opened
	problem     flow.Problem
}

// opened is a share and the place of its first step.
type opened struct {
	share *share
	first int
}

// openAll takes in all of the problem, whatever room there is, so that its shape is the same from
// day to day.
func (s *search) openAll() {
	s.rest = &rest{arcs: upTo(len(s.problem.Cap)), nodes: upTo(s.problem.Nodes())}
	s.rest.problem.From, s.rest.problem.To = s.problem.From, s.problem.To
}

// upTo is 0 to n-1.
func upTo(n int) []int32 {
	all := make([]int32, n)
	for i := range all {
		all[i] = int32(i)
	}
	return all
}

// open finds what is not settled. Those shares of the aims that are still open have their steps,
// the finest where the last phase left them.
func (s *search) open(aims []aim) {
	p := &s.problem
	number := make([]int32, p.Nodes())
	r := &rest{}
	s.rest = r
	place := func(node int32) int32 {
		if number[node] == 0 {
			r.nodes = append(r.nodes, node)
			number[node] = int32(len(r.nodes))
		}
		return number[node] - 1
	}
	shares := make(map[int32]*share)
	for _, a := range aims {
		for i := range a.shares {
			if sh := &a.shares[i]; p.Cap[sh.arc] > 0 {
				shares[sh.arc] = sh
			}
		}
	}
	for a, room := range p.Cap {
		if room == 0 {
			continue
		}
		steps := 1
		if sh := shares[int32(a)]; sh != nil {
			sh.refine(s.last[a])
			steps = sh.count()
			r.shares = append(r.shares, opened{sh, len(r.arcs)})
		}
		from, to := place(p.From[a]), place(p.To[a])
		for range steps {
			r.arcs = append(r.arcs, int32(a))
			r.problem.From, r.problem.To = append(r.problem.From, from), append(r.problem.To, to)
		}
	}
}

// isFirst says whether the arc at i is not a further step of the one before.
func (r *rest) isFirst(i int) bool { return i == 0 || r.arcs[i] != r.arcs[i-1] }

// with takes the numbers of the whole problem, and the costs of the phase. Shares that do not take
// steps in it have all their room on the first.
func (r *rest) with(p *flow.Problem, cost []int64) *flow.Problem {
	small := &r.problem
	small.Supply, small.Cap, small.Cost = small.Supply[:0], small.Cap[:0], cost
	for _, node := range r.nodes {
		small.Supply = append(small.Supply, p.Supply[node])
	}
	for i, a := range r.arcs {
		room := int64(0)
		if r.isFirst(i) {
			room = p.Cap[a]
		}
		small.Cap = append(small.Cap, room)
	}
	for _, open := range r.shares {
		for k := 0; open.share.steps && k < open.share.count(); k++ {
			small.Cap[open.first+k] = open.share.at[k+1] - open.share.at[k]
		}
	}
	return small
}
