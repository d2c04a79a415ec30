package match

import (
	"cmp"
	"math/bits"
	"slices"
)

// share is one who shares what is short or left with others: the packs of one customer and
// product, or of one farm and product. What it lacks flows on one arc; while it is shared out, on
// parallel steps of rising cost in its place.
type share struct {
	arc int32
	// left is set where packs are left, not short; steps once it takes steps.
	left, steps bool
	// at has the steps, each from at[i] to at[i+1] packs lacking; nil until they matter.
	at []int64
	// packs that may be lacking, and had, which are there already; had may be negative.
	packs, had int64
	weight     int64
	class      int
	refined    int64 // around how many packs lacking the steps are finest
}

// finest is the most packs for which each is a step of its own from the start.
const finest = 32

// count is the number of steps.
func (s *share) count() int {
	if s.packs <= finest {
		return int(max(1, s.packs))
	}
	return 2*bits.Len64(uint64(s.packs)) + 2
}

// refine puts the steps around a number of packs lacking: single packs next to it, and ever
// longer steps away from it.
func (s *share) refine(around int64) {
	around = min(max(around, 0), s.packs)
	s.refined, s.at = around, s.at[:0]
	if s.single() {
		for u := range s.packs + 1 {
			s.at = append(s.at, u)
		}
	} else {
		s.at = append(s.at, 0, around, s.packs)
		for far := int64(1); far < s.packs; far *= 2 {
			s.at = append(s.at, max(0, around-far), min(s.packs, around+far))
		}
		slices.Sort(s.at)
		s.at = slices.Compact(s.at)
	}
	for len(s.at) <= s.count() {
		s.at = append(s.at, s.packs)
	}
}

// single says whether each pack has an arc of its own.
func (s *share) single() bool { return s.packs <= int64(s.count()) }

// resolved says whether single packs lie on either side of what is lacking.
func (s *share) resolved(lacking int64) bool { return s.single() || s.refined == lacking }

// slope of a step is what the mean of its packs weighs in x²/weight, x being the packs that are
// there: the numerator over weight.
func (s *share) slope(step int) int64 { return 2*(s.packs+s.had) - s.at[step] - s.at[step+1] }

// byRatio compares a/v with b/w for positive v and w, exactly.
func byRatio(a, v, b, w int64) int {
	switch {
	case a >= 0 && b < 0:
		return 1
	case a < 0 && b >= 0:
		return -1
	case a < 0:
		return byRatio(-b, w, -a, v)
	}
	hi1, lo1 := bits.Mul64(uint64(a), uint64(w))
	hi2, lo2 := bits.Mul64(uint64(b), uint64(v))
	return cmp.Or(cmp.Compare(hi1, hi2), cmp.Compare(lo1, lo2))
}

// slant is how steep a step is, for its class and weight.
type slant struct {
	class         int
	slope, weight int64
}

// steeper puts first what is met last: lower classes, and who has most for the weight.
func steeper(a, b slant) int {
	switch {
	case a.class != b.class:
		return cmp.Compare(b.class, a.class)
	case a.weight == b.weight:
		return cmp.Compare(b.slope, a.slope)
	}
	return byRatio(b.slope, b.weight, a.slope, a.weight)
}

// rankSteps gives the steps of those who share what is short, or left, their rank from 1: the
// higher, the sooner its packs are met. A class is met before the next; within it those who have
// least for their weight.
func rankSteps(left bool, r *rest, cost []int64) {
	var steps []slant
	var places []int
	for _, open := range r.shares {
		s := open.share
		for k := 0; s.left == left && k < s.count(); k++ {
			steps, places = append(steps, slant{s.class, s.slope(k), s.weight}), append(places, open.first+k)
		}
	}
	rank := ranks(len(steps), func(i int) slant { return steps[i] }, steeper)
	for i, place := range places {
		cost[place] = rank[i] + 1
	}
}

// sum is what has a share together: wants of a customer, or lots of a farm, by their place.
type sum struct {
	of    []int32
	node  int32 // its own node where there are several, else -1
	share share
}

// customerSums puts the wants of a customer together that are of the same product, class and
// worth.
func (n *network) customerSums(rule ShortRule) []sum {
	type key struct {
		class             int
		customer, product string
		worth             int64
	}
	at := make(map[key]int, len(n.wants))
	var sums []sum
	for j, w := range n.wants {
		k := key{w.class(), w.Customer, w.Product, worth(w.Line)}
		i, known := at[k]
		if !known {
			i = len(sums)
			at[k] = i
			sums = append(sums, sum{node: -1, share: share{class: w.class(), weight: max(1, w.Weight)}})
		}
		s := &sums[i]
		s.of = append(s.of, int32(j))
		s.share.packs += w.Packs
		s.share.had += w.had
	}
	for i := range sums {
		if len(sums[i].of) > 1 {
			sums[i].node = n.node()
		}
		if s := &sums[i].share; rule == ShortByOrdered {
			s.weight *= max(1, min(s.packs+s.had, maxPacks))
		}
	}
	return sums
}

// farmSums puts the lots of a farm together that are of the same product.
func (n *network) farmSums(p *prepared) []sum {
	type key struct{ farm, product string }
	at := make(map[key]int, n.real)
	var sums []sum
	offered := make(map[string]int64)
	for i, l := range n.lots[:n.real] {
		k := key{l.Farm, l.Product}
		s, known := at[k]
		if !known {
			s = len(sums)
			at[k] = s
			sums = append(sums, sum{node: -1})
		}
		sums[s].of = append(sums[s].of, int32(i))
		sums[s].share.packs += l.Packs
		sums[s].share.had += p.sentLot[l.ID]
		offered[l.Farm] += l.Packs + p.sentLot[l.ID]
	}
	for i := range sums {
		s := &sums[i].share
		farm := n.lots[sums[i].of[0]].Farm
		s.weight = max(1, s.packs+s.had)
		if p.day.Rules.Left == LeftByShares {
			s.weight = max(1, p.farms[farm].Shares)
		}
		// What the farm is ahead in the season counts as sold, on each product its part.
		s.had += p.farms[farm].Ahead * min(s.packs+s.had, maxPacks) / max(1, offered[farm])
		if len(sums[i].of) > 1 {
			sums[i].node = n.node()
		}
	}
	return sums
}

// addCustomers adds the arcs on which unmet packs flow.
func (n *network) addCustomers(sums []sum) {
	for _, s := range sums {
		head := s.node
		if head < 0 {
			head = n.first.wants + s.of[0]
		} else {
			for _, j := range s.of {
				n.arc(parts, head, n.first.wants+j, n.wants[j].Packs, -1, j, -1)
			}
		}
		s.share.arc = int32(len(n.from))
		n.arc(unmet, n.short, head, s.share.packs, -1, s.of[0], -1)
		n.customers = append(n.customers, s.share)
	}
}

// addFarms adds the arcs on which unsold packs flow.
func (n *network) addFarms(sums []sum) {
	for _, s := range sums {
		s.share.left = true
		for _, i := range s.of {
			s.share.arc = int32(len(n.from))
			if s.node < 0 {
				n.arc(unsold, i, n.surplus, s.share.packs, i, -1, -1)
			} else {
				n.arc(unsold, i, s.node, n.lots[i].Packs, i, -1, -1)
			}
		}
		if s.node >= 0 {
			s.share.arc = int32(len(n.from))
			n.arc(leaves, s.node, n.surplus, s.share.packs, -1, -1, -1)
		}
		n.farms = append(n.farms, s.share)
	}
}
