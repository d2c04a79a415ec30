package main

import "fmt"

// coopNet lays the matching day out as a balanced min-cost flow:
// nodes 1..L lots, L+1..L+N lines, then SHORT (source of unmet packs) and
// SURPLUS (sink of unsold packs), with a free arc SHORT->SURPLUS.
func coopNet(d *coopJSON) *net {
	L, N := len(d.Lots), len(d.Lines)
	n := &net{name: d.Name}
	n.supply = make([]int, L+N+2)
	short, surplus := L+N+1, L+N+2
	ts, td := 0, 0
	for i, l := range d.Lots {
		n.supply[i] = l.Packs
		ts += l.Packs
	}
	for j, ln := range d.Lines {
		n.supply[L+j] = -ln.Packs
		td += ln.Packs
	}
	n.supply[short-1] = td
	n.supply[surplus-1] = -ts
	for k := range d.Arcs.Lot {
		i, j := int(d.Arcs.Lot[k]), int(d.Arcs.Line[k])
		n.arc(i+1, L+j+1, min(d.Lots[i].Packs, d.Lines[j].Packs), int(d.Arcs.Cost[k]))
	}
	for j, ln := range d.Lines {
		n.arc(short, L+j+1, ln.Packs, ln.UnmetCost)
	}
	for i, l := range d.Lots {
		n.arc(i+1, surplus, l.Packs, l.UnsoldCost)
	}
	n.arc(short, surplus, min(ts, td), 0)
	n.comment = []string{
		fmt.Sprintf("%s seed %d: %d lots (%d packs), %d lines (%d packs), %d match arcs", d.Name, d.Seed, L, ts, N, td, len(d.Arcs.Lot)),
		fmt.Sprintf("nodes 1..%d lots, %d..%d lines, %d SHORT, %d SURPLUS; cost in mills per pack", L, L+1, L+N, short, surplus),
		"arc order: match arcs by line, SHORT->line, lot->SURPLUS, SHORT->SURPLUS",
	}
	return n
}
