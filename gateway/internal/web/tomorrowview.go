package web

import (
	"cmp"
	"slices"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// tomorrow is what the page of one day shows. Without a match, MatchID is empty.
type tomorrow struct {
	Day, Before, After string
	Form               *form
	ExpectedCount      int64 // products that farms expect to pick

	MatchID, Etag     string
	Confirmed         bool
	ConfirmedBy       string
	RunAt, SupplyAsOf string
	Products          []productRow
	Short             []shortRow
	Left              []productRow
	Farms             []farmRow
	Verified          bool
	Pins              []pinRow
	PinsCost          string // what the pins took off the value met; empty without any
	Rebalanced        bool   // after a confirmed match
	Lines             []shortRow
	money             func(int64) string

	OrderedPacks, MatchedPacks int64
}

// productRow is one product's packs. Bars are in per mille of the day's largest figure.
type productRow struct {
	Name                           string
	Offered, Ordered, Matched      int64
	Left, Missing                  int64
	OfferedBar, OrderedBar, GotBar int64
	LeftGrams                      int64
	Worth                          string // of one pack more; empty where nobody would take it
	LeftWhy                        string
	PooledGrams                    int64 // what could be promised since farms' misses even out

	// Spread tells that the farms' low and high figures are known: the packs offered if every
	// room gave its low, or its high, and where the two lie on the bar.
	Spread           bool
	Low, High        int64
	LowBar, WidthBar int64
}

// shortRow is an order line that got less than it ordered.
type shortRow struct {
	Customer, Product, Why    string
	Order, ProductID          string
	Ordered, Matched, Missing int64
}

// farmRow is what one farm packs, customer by customer.
type farmRow struct {
	Name             string
	Offered, Matched int64
	Customers        []customerRow
}

// customerRow is what a farm packs for one customer.
type customerRow struct {
	Name  string
	Packs []packRow
}

// packRow is packs out of one lot.
type packRow struct {
	Product, Lot string
	Packs        int64
}

func (t *tomorrow) fill(m *orderv1.Match, supply *harvestv1.GetSupplyResponse, n names) {
	t.MatchID, t.Etag = m.GetMatchId(), m.GetEtag()
	t.Confirmed, t.ConfirmedBy = m.GetState() == orderv1.MatchState_MATCH_STATE_CONFIRMED, m.GetConfirmedBy()
	t.Verified = m.GetProof().GetVerified()
	t.Rebalanced = m.GetRebalancedFrom() != ""
	if m.PinsCostMinor != nil {
		t.PinsCost = t.money(m.GetPinsCostMinor())
	}
	t.fillProducts(m, byID(supply.GetDays(), (*harvestv1.SupplyDay).GetProductId, func(d *harvestv1.SupplyDay) *harvestv1.SupplyDay { return d }), n)
	t.fillShort(m, n)
	t.fillFarms(m, n)
}

func (t *tomorrow) fillProducts(m *orderv1.Match, supply map[string]*harvestv1.SupplyDay, n names) {
	var largest int64 = 1
	for _, p := range m.GetProducts() {
		row := productRow{
			Name: n.product(p.GetProductId()), Offered: p.GetOffered(), Ordered: p.GetOrdered(), Matched: p.GetMatched(),
			Left: p.GetLeft(), Missing: p.GetOrdered() - p.GetMatched(), LeftGrams: p.GetLeft() * n.products[p.GetProductId()].GetPackGrams(),
		}
		row.LeftWhy, row.PooledGrams = p.GetLeftOver(), p.GetPooledGainGrams()
		if p.GetMoreWorthMinor() > 0 {
			row.Worth = t.money(p.GetMoreWorthMinor())
		}
		row.spread(supply[p.GetProductId()], n.products[p.GetProductId()].GetPackGrams())
		largest = max(largest, row.Offered, row.Ordered, row.High)
		t.OrderedPacks += row.Ordered
		t.MatchedPacks += row.Matched
		t.Products = append(t.Products, row)
	}
	for i := range t.Products {
		row := &t.Products[i]
		row.OfferedBar, row.OrderedBar, row.GotBar = row.Offered*1000/largest, row.Ordered*1000/largest, row.Matched*1000/largest
		row.LowBar = row.Low * 1000 / largest
		row.WidthBar = row.High*1000/largest - row.LowBar
		if row.Left > 0 {
			t.Left = append(t.Left, *row)
		}
	}
	// What is short comes first: it is what the coordinator must act on.
	slices.SortStableFunc(t.Products, func(a, b productRow) int { return cmp.Compare(b.Missing, a.Missing) })
	slices.SortStableFunc(t.Left, func(a, b productRow) int { return cmp.Compare(b.LeftGrams, a.LeftGrams) })
}

// spread moves what is offered by as much as the rooms' low and high figures lie off their
// likely ones; packs from stock stay.
func (row *productRow) spread(d *harvestv1.SupplyDay, packGrams int64) {
	if d == nil || packGrams <= 0 || d.PickedGrams != nil || d.GetHighGrams() == d.GetLowGrams() {
		return
	}
	row.Spread = true
	row.Low = max(0, row.Offered-(d.GetLikelyGrams()-d.GetLowGrams())/packGrams)
	row.High = row.Offered + (d.GetHighGrams()-d.GetLikelyGrams())/packGrams
}

func (t *tomorrow) fillShort(m *orderv1.Match, n names) {
	for _, l := range m.GetLines() {
		row := shortRow{
			Customer: nameOf(n.customers, l.GetCustomerId()), Product: n.product(l.GetProductId()), Why: l.GetExplanation(), Order: l.GetOrderId(), ProductID: l.GetProductId(),
			Ordered: l.GetOrdered(), Matched: l.GetMatched(), Missing: l.GetOrdered() - l.GetMatched(),
		}
		t.Lines = append(t.Lines, row)
		if row.Missing > 0 {
			t.Short = append(t.Short, row)
		}
	}
	slices.SortStableFunc(t.Short, func(a, b shortRow) int { return cmp.Compare(b.Missing, a.Missing) })
}

// fillFarms relies on the allocations' order: by farm, customer, product and lot.
func (t *tomorrow) fillFarms(m *orderv1.Match, n names) {
	byFarm := make(map[string]*farmRow)
	for _, f := range m.GetFarms() {
		byFarm[f.GetFarmId()] = &farmRow{Name: nameOf(n.farms, f.GetFarmId()), Offered: f.GetOffered(), Matched: f.GetMatched()}
	}
	for _, a := range m.GetAllocations() {
		row := byFarm[a.GetFarmId()]
		if row == nil {
			continue
		}
		customer := nameOf(n.customers, a.GetCustomerId())
		if last := len(row.Customers) - 1; last < 0 || row.Customers[last].Name != customer {
			row.Customers = append(row.Customers, customerRow{Name: customer})
		}
		c := &row.Customers[len(row.Customers)-1]
		c.Packs = append(c.Packs, packRow{Product: n.product(a.GetProductId()), Lot: a.GetPickLotId(), Packs: a.GetPacks()})
	}
	for _, f := range m.GetFarms() {
		t.Farms = append(t.Farms, *byFarm[f.GetFarmId()])
	}
}
