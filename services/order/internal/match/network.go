package match

import "breakshare.example/services/order/internal/match/flow"

// network is the day as a minimum-cost flow. Its nodes are, in this order, the lots, the lines,
// the pools, SHORT and SURPLUS; its arcs, in this order, lot to pool, pool to line, SHORT to
// line (unmet), lot to SURPLUS (unsold), and SHORT to SURPLUS, which carries as many packs as
// are matched.
type network struct {
	ranked
	problem flow.Problem
	// in[j] is the arc into line j from its pool, -1 where its product has no lot.
	in []int
}

// build makes the network of lots and lines, each with at least one pack.
func build(r ranked) network {
	n := network{ranked: r, in: make([]int, len(r.lines))}
	pools := make(map[string]int)
	for _, l := range r.lots {
		if _, known := pools[l.Product]; !known {
			pools[l.Product] = len(pools)
		}
	}
	lots, lines := len(r.lots), len(r.lines)
	firstPool := lots + lines
	short := firstPool + len(pools)
	surplus := short + 1
	supply := make([]int64, surplus+1)
	for i, l := range r.lots {
		supply[i] = l.Packs
		supply[surplus] -= l.Packs
		n.arc(i, firstPool+pools[l.Product], l.Packs, 0)
	}
	for j, l := range r.lines {
		supply[lots+j] = -l.Packs
		supply[short] += l.Packs
		n.in[j] = -1
		if pool, offered := pools[l.Product]; offered {
			n.in[j] = n.problem.Arcs()
			n.arc(firstPool+pool, lots+j, l.Packs, 0)
		}
	}
	for j, l := range r.lines {
		n.arc(short, lots+j, l.Packs, r.unmet[j])
	}
	for i, l := range r.lots {
		n.arc(i, surplus, l.Packs, r.unsold[i])
	}
	n.arc(short, surplus, supply[short], 0)
	n.problem.Supply = supply
	return n
}

func (n *network) arc(from, to int, packs, cost int64) {
	p := &n.problem
	p.From, p.To = append(p.From, int32(from)), append(p.To, int32(to))
	p.Cap, p.Cost = append(p.Cap, packs), append(p.Cost, cost)
}
