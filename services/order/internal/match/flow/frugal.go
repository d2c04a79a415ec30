package flow

import "runtime"

// arcFlow is a flow above the least on the Problem's arc.
type arcFlow struct {
	arc  int32
	flow int64
}

// resultFrugal is result for Options.Frugal: it puts aside what the basis says,
// gives its arcs back and has the memory collected, so that the flows take its
// place instead of more.
func (s *Solver) resultFrugal(opts Options) (Result, error) {
	p := s.p
	used := make([]arcFlow, 0, s.fullArcs+p.Nodes())
	for a := range s.allFull {
		i := s.arcOf(a)
		used = append(used, arcFlow{i, p.Cap[i] - p.low(int(i))})
	}
	for u := range p.Supply {
		if t := &s.node[u]; t.pred < s.arcs {
			used = append(used, arcFlow{s.arcOf(t.pred), t.flow()})
		}
	}
	s.layout = layout{arcs: s.arcs, reversed: s.reversed}
	s.flow, s.place, s.placed = nil, nil, false
	runtime.GC()
	s.flow = make([]int64, p.Arcs())
	s.potential = resize(s.potential, p.Nodes())
	if err := s.readLeast(); err != nil {
		return Result{}, err
	}
	for _, x := range used {
		s.raise(x.arc, x.flow)
	}
	r, err := s.finish(opts)
	s.ready = false
	return r, err
}
