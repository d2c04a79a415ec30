package match

import (
	"cmp"
	"context"
	"slices"
)

// solveUseful solves the day and then mends what a network cannot say: a line that got fewer
// packs than are of use gets none, and they go to others. It returns what the mending took off
// the value met, by class, from the bound that the network proves; and the lines dropped.
//
// In each round, of the lines of a product that got too few, as many are kept as the packs of
// all of them would suffice for, the best first; at least one is dropped, so that it ends.
func (p *prepared) solveUseful(ctx context.Context, warm *Session, told func(Step)) (solution, [10]int64, map[int]bool, error) {
	lots := p.freeLots(warm.known.lots)
	var bound, gap [10]int64
	dropped := make(map[int]bool)
	for {
		wants, err := p.wants(dropped, warm.known.wants)
		if err != nil {
			return solution{}, gap, nil, err
		}
		kept := warm.known.keeps(p.day.Kept)
		net := build(p, lots, wants, kept)
		warm.known.note(net, kept)
		best, err := solve(ctx, p, net, &warm.first, told)
		if err == nil {
			err = p.pinsMet(best)
		}
		if err != nil {
			return solution{}, gap, nil, err
		}
		met := best.valueMet()
		if len(dropped) == 0 {
			bound = met
		}
		if !p.drop(best, dropped) {
			for class := range gap {
				gap[class] = bound[class] - met[class]
			}
			return best, gap, dropped, nil
		}
	}
}

// valueMet is the value of the packs met by class, in minor units, less reluctance.
func (s solution) valueMet() [10]int64 {
	var met [10]int64
	for a, packs := range s.flow {
		switch n := s.net; {
		case packs == 0:
		case n.kind[a] == unmet:
			met[n.wants[n.want[a]].class()] -= packs * worth(n.wants[n.want[a]].Line)
		case n.demandOf[a] >= 0 && n.kind[a] != serves && n.exact:
			minor, _ := n.demands[n.demandOf[a]].reluctance(n.productAt(a))
			met[n.demands[n.demandOf[a]].class] -= packs * minor
		}
	}
	for _, w := range s.net.wants {
		met[w.class()] += w.Packs * worth(w.Line)
	}
	return met
}

// got is what each want got.
func (s solution) got() []int64 {
	got := make([]int64, len(s.net.wants))
	for a, packs := range s.flow {
		if k := s.net.kind[a]; k == serves || k == keeps {
			got[s.net.want[a]] += packs
		}
	}
	return got
}

// tooFew is a line that got fewer packs than are of use.
type tooFew struct {
	line       int
	got, needs int64
}

// drop adds lines that got too few to the dropped and says whether there were any.
func (p *prepared) drop(s solution, dropped map[int]bool) bool {
	sums := make([]int64, len(p.lines))
	needy := make(map[string][]tooFew)
	got := s.got()
	for j := range s.net.wants {
		if of := s.net.wants[j].of; of != nowhere {
			sums[of] += got[j]
		}
	}
	for i, l := range p.lines {
		had := p.sentLine[lineKey{l.Order, l.Product}]
		if sums[i] > 0 && sums[i]+had < l.Least && !p.fixed(i) {
			needy[l.Product] = append(needy[l.Product], tooFew{i, sums[i], l.Least - had})
		}
	}
	for _, lines := range needy {
		slices.SortFunc(lines, func(a, b tooFew) int {
			x, y := p.lines[a.line], p.lines[b.line]
			return cmp.Or(cmp.Compare(x.Class, y.Class), cmp.Compare(worth(y), worth(x)), cmp.Compare(a.needs-a.got, b.needs-b.got), cmp.Compare(a.line, b.line))
		})
		packs := int64(0)
		for _, l := range lines {
			packs += l.got
		}
		for i, l := range lines {
			if l.needs > packs || i == len(lines)-1 {
				dropped[l.line] = true
				continue
			}
			packs -= l.needs
		}
	}
	return len(needy) > 0
}

// fixed says whether somebody decided by hand how many packs the line gets.
func (p *prepared) fixed(i int) bool {
	pin := p.applied[i]
	return pin != nil && (pin.total != nil || len(pin.sources) > 0)
}
