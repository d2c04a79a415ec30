package importer

import (
	"cmp"
	"context"
	"maps"
	"slices"

	"breakshare.example/deploy/internal/coopfiles"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// orders places the orders that the suite does not have, in one call, and changes those that
// have other lines there, one by one.
func (r *run) orders(ctx context.Context) (Outcome, error) {
	have := make(map[string]*orderv1.Order)
	wanted, days := gatherOrders(r.files.Orders)
	for _, day := range days {
		list, err := r.Order.ListOrders(ctx, &orderv1.ListOrdersRequest{DeliveryDate: day})
		if err != nil {
			return Outcome{}, err
		}
		for _, o := range list.GetOrders() {
			slices.SortFunc(o.GetLines(), byProduct)
			have[o.GetOrderId()] = o
		}
	}
	if !r.files.HasColumn("orders.csv", "smallest_packs") {
		keepSmallest(wanted, have)
	}
	p := compare(wanted, have, (*orderv1.Order).GetOrderId, "customer_id", "delivery_date", "lines")
	changed := p.changed
	p.changed = nil
	o, err := save(ctx, r, source{file: "orders.csv"}, p, func(list []*orderv1.Order) *orderv1.BatchPlaceOrdersRequest {
		return &orderv1.BatchPlaceOrdersRequest{Orders: list}
	}, r.Order.BatchPlaceOrders)
	if err != nil {
		return o, err
	}
	for _, c := range changed {
		present := have[c.message.GetOrderId()]
		if present.GetCustomerId() != c.message.GetCustomerId() || present.GetDeliveryDate() != c.message.GetDeliveryDate() {
			return o, refuse("orders.csv", c.lines[0], "order_id", "order %s is placed for %s on %s: give another order another order_id", present.GetOrderId(), present.GetCustomerId(), present.GetDeliveryDate())
		}
		req := &orderv1.ChangeOrderRequest{OrderId: c.message.GetOrderId(), Lines: c.message.GetLines(), Etag: c.message.GetEtag()}
		if err := r.send(ctx, source{file: "orders.csv", lines: [][]int{c.lines}, row: true}, req, func(ctx context.Context) error {
			_, err := r.Order.ChangeOrder(ctx, req)
			return err
		}); err != nil {
			return o, err
		}
		o.Changed++
	}
	return o, nil
}

// keepSmallest leaves the fewest packs of use as the suite has them, where the file does not tell.
func keepSmallest(wanted []item[*orderv1.Order], have map[string]*orderv1.Order) {
	for _, w := range wanted {
		for _, l := range w.message.GetLines() {
			at, found := slices.BinarySearchFunc(have[w.message.GetOrderId()].GetLines(), l, byProduct)
			if found {
				l.SmallestPacks = min(have[w.message.GetOrderId()].GetLines()[at].GetSmallestPacks(), l.GetPacks())
			}
		}
	}
}

func byProduct(a, b *orderv1.OrderLine) int { return cmp.Compare(a.GetProductId(), b.GetProductId()) }

// gatherOrders makes one order of its rows, lines by product, and lists the delivery days.
func gatherOrders(rows []coopfiles.OrderRow) (orders []item[*orderv1.Order], days []string) {
	at := make(map[string]int)
	seen := make(map[string]bool)
	sorted := slices.Clone(rows)
	slices.SortStableFunc(sorted, func(a, b coopfiles.OrderRow) int { return cmp.Compare(a.ProductID, b.ProductID) })
	for _, row := range sorted {
		i, known := at[row.OrderID]
		if !known {
			i = len(orders)
			at[row.OrderID] = i
			seen[row.DeliveryDate] = true
			orders = append(orders, item[*orderv1.Order]{&orderv1.Order{OrderId: row.OrderID, CustomerId: row.CustomerID, DeliveryDate: row.DeliveryDate}, nil})
		}
		orders[i].message.Lines = append(orders[i].message.Lines, &orderv1.OrderLine{ProductId: row.ProductID, Packs: row.Packs, SmallestPacks: row.SmallestPacks})
		orders[i].lines = append(orders[i].lines, row.Line)
	}
	return orders, slices.Sorted(maps.Keys(seen))
}

// lotKey is what makes one pick lot.
type lotKey struct{ room, product, date string }

func (r *run) expectedPicks(ctx context.Context) (Outcome, error) {
	rows := r.files.ExpectedPicks
	if len(rows) == 0 {
		return Outcome{}, nil
	}
	first, last := rows[0].Date, rows[0].Date
	var wanted []item[*harvestv1.ExpectedPick]
	for _, e := range rows {
		first, last = min(first, e.Date), max(last, e.Date)
		wanted = append(wanted, item[*harvestv1.ExpectedPick]{&harvestv1.ExpectedPick{
			RoomId: e.RoomID, ProductId: e.ProductID, Date: e.Date, LowGrams: e.LowGrams, LikelyGrams: e.LikelyGrams, HighGrams: e.HighGrams,
		}, []int{e.Line}})
	}
	list, err := r.Harvest.ListExpectedPicks(ctx, &harvestv1.ListExpectedPicksRequest{FromDate: first, ToDate: last})
	if err != nil {
		return Outcome{}, err
	}
	id := func(e *harvestv1.ExpectedPick) string {
		return e.GetRoomId() + " " + e.GetProductId() + " " + e.GetDate()
	}
	p := compare(wanted, byID(list.GetExpectedPicks(), id), id, "low_grams", "likely_grams", "high_grams")
	return save(ctx, r, source{file: "expected_picks.csv"}, p, func(list []*harvestv1.ExpectedPick) *harvestv1.PushExpectedPicksRequest {
		return &harvestv1.PushExpectedPicksRequest{ExpectedPicks: list}
	}, r.Harvest.PushExpectedPicks)
}

// picks records the weighings of pick lots that the suite does not have. A weighing has no
// name of its own, so a lot that is there with another weight cannot be completed from a
// file: that would count some weighings twice.
func (r *run) picks(ctx context.Context) (Outcome, error) {
	rows := r.files.Picks
	if len(rows) == 0 {
		return Outcome{}, nil
	}
	net := make(map[lotKey]int64)
	first, last := rows[0].Date, rows[0].Date
	for _, p := range rows {
		first, last = min(first, p.Date), max(last, p.Date)
		net[lotKey{p.RoomID, p.ProductID, p.Date}] += p.GrossGrams - p.TareGrams
	}
	list, err := r.Harvest.ListPickLots(ctx, &harvestv1.ListPickLotsRequest{FromDate: first, ToDate: last})
	if err != nil {
		return Outcome{}, err
	}
	have := make(map[lotKey]int64)
	for _, l := range list.GetPickLots() {
		have[lotKey{l.GetRoomId(), l.GetProductId(), l.GetDate()}] = l.GetNetGrams()
	}
	var p pending[*harvestv1.Pick]
	for _, m := range rows {
		key := lotKey{m.RoomID, m.ProductID, m.Date}
		switch {
		case have[key] == net[key]:
			p.same++
			continue
		case have[key] != 0:
			return Outcome{}, refuse("picks.csv", m.Line, "gross_grams", "the suite has %d g net of %s from %s on %s, the file has %d g: record what is missing by itself", have[key], m.ProductID, m.RoomID, m.Date, net[key])
		}
		pick := &harvestv1.Pick{
			RoomId: m.RoomID, ProductId: m.ProductID, Date: m.Date, GrossGrams: m.GrossGrams, TareGrams: m.TareGrams, Crates: int32(m.Crates), Picker: m.Picker,
		}
		if m.BreakNumber > 0 {
			number := int32(m.BreakNumber)
			pick.BreakNumber = &number
		}
		p.fresh = append(p.fresh, item[*harvestv1.Pick]{pick, []int{m.Line}})
	}
	return save(ctx, r, source{file: "picks.csv"}, p, func(list []*harvestv1.Pick) *harvestv1.BatchRecordPicksRequest {
		return &harvestv1.BatchRecordPicksRequest{Picks: list}
	}, r.Harvest.BatchRecordPicks)
}
