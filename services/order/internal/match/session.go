package match

import (
	"context"
	"slices"
)

// Session runs a day again and again as its figures change, and keeps from each run the basis at
// which the solver ended: the next run starts from it. As long as no new lots, lines or wishes
// come, a run after a small change takes a small part of the time of the first. The matches are
// those of Run.
//
// The zero value is ready. It is not safe for use by several goroutines.
type Session struct {
	first basis
	known shape
}

// Run is like the function Run.
func (s *Session) Run(ctx context.Context, d Day, told func(Step)) (Match, error) {
	return s.run(ctx, d, told)
}

// Arcs is how many arcs the session keeps, at some hundred bytes each.
func (s *Session) Arcs() int { return s.first.problem.Arcs() }

// shape is what the network of a session has had arcs for. It keeps them, without room, when they
// are no longer there, so that the solver can go on with what it has.
type shape struct {
	lots  map[string]bool
	wants map[wantKey]want
	kept  map[Sent]bool // of no packs
}

// wantKey tells the parts of lines apart.
type wantKey struct {
	lineKey
	must          bool
	onlyLot, from string
}

func (w *want) key() wantKey {
	return wantKey{lineKey{w.Order, w.Product}, w.must, w.onlyLot, w.OnlyFrom}
}

// note remembers what the network has.
func (s *shape) note(n *network, kept []Sent) {
	if s.lots == nil {
		s.lots, s.wants, s.kept = make(map[string]bool), make(map[wantKey]want), make(map[Sent]bool)
	}
	for _, l := range n.lots[:n.real] {
		s.lots[l.ID] = true
	}
	for _, w := range n.wants {
		s.wants[w.key()] = w
	}
	for _, k := range kept {
		k.Packs = 0
		s.kept[k] = true
	}
}

// keeps adds pairs that were kept once to those that are.
func (s *shape) keeps(kept []Sent) []Sent {
	if len(s.kept) == 0 {
		return kept
	}
	all := slices.Clone(kept)
	now := make(map[Sent]bool, len(kept))
	for _, k := range kept {
		k.Packs = 0
		now[k] = true
	}
	for k := range s.kept {
		if !now[k] {
			all = append(all, k)
		}
	}
	return all
}
