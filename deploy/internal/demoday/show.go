package demoday

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// showMatch prints the match: products, who is short and why, and the farms.
func (d *Day) showMatch(match *orderv1.Match) {
	fmt.Fprintf(d.Out, "\nMatch for %s, in packs\n\n", d.Plan.date.Format("Monday 2 January 2006"))
	t := newTable("product", "offered", "ordered", "matched", "short", "left over").right(1, 2, 3, 4, 5)
	var offered, ordered, matched, left int64
	for _, p := range match.GetProducts() {
		t.add(named(d.names.products, p.GetProductId()), p.GetOffered(), p.GetOrdered(), p.GetMatched(), p.GetOrdered()-p.GetMatched(), p.GetLeft())
		offered, ordered, matched, left = offered+p.GetOffered(), ordered+p.GetOrdered(), matched+p.GetMatched(), left+p.GetLeft()
	}
	t.add("all", offered, ordered, matched, ordered-matched, left)
	t.print(d.Out)
	fmt.Fprintf(d.Out, "\n %s of what was ordered is matched.", percent(matched, ordered))
	if match.GetProof().GetVerified() {
		fmt.Fprintf(d.Out, " No better match exists: every arc of the flow was checked.")
	}
	fmt.Fprintln(d.Out)
	d.showInstead(match)
	d.showShort(match)

	fmt.Fprintf(d.Out, "\nShare per farm, in packs\n\n")
	farms := newTable("farm", "offered", "matched", "of its offer", "of all matched").right(1, 2, 3, 4)
	for _, f := range match.GetFarms() {
		farms.add(named(d.names.farms, f.GetFarmId()), f.GetOffered(), f.GetMatched(), percent(f.GetMatched(), f.GetOffered()), percent(f.GetMatched(), matched))
	}
	farms.print(d.Out)
}

// showInstead prints what kitchens get in place of what they ordered.
func (d *Day) showInstead(match *orderv1.Match) {
	t := newTable("kitchen", "ordered", "gets", "packs").right(3)
	for _, a := range match.GetAllocations() {
		if a.GetPackedProductId() != a.GetProductId() {
			t.add(named(d.names.customers, a.GetCustomerId()), named(d.names.products, a.GetProductId()), named(d.names.products, a.GetPackedProductId()), a.GetPacks())
		}
	}
	if len(t.rows) > 0 {
		fmt.Fprintf(d.Out, "\nGiven in place of what was ordered, where the kitchen takes it\n\n")
		t.print(d.Out)
	}
}

// showShort prints the short lines by product, each with its reason under it.
func (d *Day) showShort(match *orderv1.Match) {
	byProduct := make(map[string][]*orderv1.MatchLine)
	for _, l := range match.GetLines() {
		if l.GetMatched() < l.GetOrdered() {
			byProduct[l.GetProductId()] = append(byProduct[l.GetProductId()], l)
		}
	}
	if len(byProduct) == 0 {
		fmt.Fprintf(d.Out, "\nNobody is short.\n")
		return
	}
	fmt.Fprintf(d.Out, "\nShort, and why\n")
	for _, product := range slices.Sorted(maps.Keys(byProduct)) {
		fmt.Fprintf(d.Out, "\n %s\n", named(d.names.products, product))
		for _, l := range byProduct[product] {
			fmt.Fprintf(d.Out, "   %-36s ordered %3d, got %3d\n", named(d.names.customers, l.GetCustomerId()), l.GetOrdered(), l.GetMatched())
			for _, line := range wrap(l.GetExplanation(), width-6) {
				fmt.Fprintf(d.Out, "      %s\n", line)
			}
		}
	}
}

// percent is a share in tenths of a percent, rounded down; "-" of nothing.
func percent(part, whole int64) string {
	if whole == 0 {
		return "-"
	}
	tenths := part * 1000 / whole
	return fmt.Sprintf("%d.%d %%", tenths/10, tenths%10)
}

// showPackLists prints for each farm and lot what to pack for whom.
func (d *Day) showPackLists(lists []*orderv1.PackList) {
	for _, list := range lists {
		fmt.Fprintf(d.Out, "\nPack list of %s\n", named(d.names.farms, list.GetFarmId()))
		room := ""
		lines := list.GetLines()
		for len(lines) > 0 {
			if lines[0].GetRoomId() != room {
				room = lines[0].GetRoomId()
				fmt.Fprintf(d.Out, "\n %s\n", named(d.names.rooms, room))
			}
			lot, rest := splitLot(lines)
			d.showLot(lot)
			lines = rest
		}
	}
}

// splitLot takes the first line's lot out of the lines of its room; the order of both parts
// stays.
func splitLot(lines []*orderv1.PackListLine) (lot, rest []*orderv1.PackListLine) {
	first := lines[0]
	for _, l := range lines {
		if l.GetRoomId() == first.GetRoomId() && l.GetPickLotId() == first.GetPickLotId() {
			lot = append(lot, l)
		} else {
			rest = append(rest, l)
		}
	}
	return lot, rest
}

func (d *Day) showLot(lot []*orderv1.PackListLine) {
	var packs int64
	kitchens := make([]string, len(lot))
	for i, l := range lot {
		packs += l.GetPacks()
		kitchens[i] = fmt.Sprintf("%s %d", named(d.names.customers, l.GetCustomerId()), l.GetPacks())
		if l.GetProductId() != l.GetPackedProductId() {
			kitchens[i] += " in place of " + named(d.names.products, l.GetProductId())
		}
	}
	fmt.Fprintf(d.Out, "   %-28s %4d packs   lot %s\n", named(d.names.products, lot[0].GetPackedProductId()), packs, lot[0].GetPickLotId())
	for _, line := range wrap(strings.Join(kitchens, ", "), width-6) {
		fmt.Fprintf(d.Out, "      %s\n", line)
	}
}
