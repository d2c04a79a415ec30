package web

import (
	"cmp"
	"slices"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// tomorrow is what the page of one day shows. Without a match only Day and RequestID are set.
type tomorrow struct {
	Day       string
	RequestID string // for the form's next change, so that sending it twice does it once

	MatchID, Etag string
	Confirmed     bool
	ConfirmedBy   string
	Products      []productRow
	Short         []shortRow
	Left          []productRow
	Farms         []farmRow
	Verified      bool

	OrderedPacks, MatchedPacks int64
}

// productRow is one product's packs. Bars are in per mille of the day's largest figure.
type productRow struct {
	Name                           string
	Offered, Ordered, Matched      int64
	Left, Missing                  int64
	OfferedBar, OrderedBar, GotBar int64
	LeftGrams                      int64
}

// shortRow is an order line that got less than it ordered.
type shortRow struct {
	Customer, Product, Why    string
	Ordered, Matched, Missing int64
}

// farmRow is what one farm packs, customer by customer.
type farmRow struct {
	Name             string
	Offered, Matched int64
	SharePerMille    int64
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

func (t *tomorrow) fill(m *orderv1.Match, n names) {
	t.MatchID, t.Etag = m.GetMatchId(), m.GetEtag()
	t.Confirmed, t.ConfirmedBy = m.GetState() == orderv1.MatchState_MATCH_STATE_CONFIRMED, m.GetConfirmedBy()
	t.Verified = m.GetProof().GetVerified()
	t.fillProducts(m, n)
	t.fillShort(m, n)
	t.fillFarms(m, n)
}

func (t *tomorrow) fillProducts(m *orderv1.Match, n names) {
	var largest int64 = 1
	for _, p := range m.GetProducts() {
		largest = max(largest, p.GetOffered(), p.GetOrdered())
	}
	for _, p := range m.GetProducts() {
		row := productRow{
			Name:    nameOf(n.products, p.GetProductId()),
			Offered: p.GetOffered(), Ordered: p.GetOrdered(), Matched: p.GetMatched(),
			Left: p.GetLeft(), Missing: p.GetOrdered() - p.GetMatched(),
			OfferedBar: p.GetOffered() * 1000 / largest, OrderedBar: p.GetOrdered() * 1000 / largest, GotBar: p.GetMatched() * 1000 / largest,
			LeftGrams: p.GetLeft() * n.packGrams[p.GetProductId()],
		}
		t.OrderedPacks += row.Ordered
		t.MatchedPacks += row.Matched
		t.Products = append(t.Products, row)
		if row.Left > 0 {
			t.Left = append(t.Left, row)
		}
	}
	// What is short comes first: it is what the coordinator must act on.
	slices.SortStableFunc(t.Products, func(a, b productRow) int { return cmp.Compare(b.Missing, a.Missing) })
	slices.SortStableFunc(t.Left, func(a, b productRow) int { return cmp.Compare(b.LeftGrams, a.LeftGrams) })
}

func (t *tomorrow) fillShort(m *orderv1.Match, n names) {
	for _, l := range m.GetLines() {
		if l.GetMatched() >= l.GetOrdered() {
			continue
		}
		t.Short = append(t.Short, shortRow{
			Customer: nameOf(n.customers, l.GetCustomerId()), Product: nameOf(n.products, l.GetProductId()), Why: l.GetExplanation(),
			Ordered: l.GetOrdered(), Matched: l.GetMatched(), Missing: l.GetOrdered() - l.GetMatched(),
		})
	}
	slices.SortStableFunc(t.Short, func(a, b shortRow) int { return cmp.Compare(b.Missing, a.Missing) })
}

// fillFarms relies on the allocations' order: by farm, customer, product and lot.
func (t *tomorrow) fillFarms(m *orderv1.Match, n names) {
	byFarm := make(map[string]*farmRow)
	for _, f := range m.GetFarms() {
		row := &farmRow{Name: nameOf(n.farms, f.GetFarmId()), Offered: f.GetOffered(), Matched: f.GetMatched()}
		if row.Offered > 0 {
			row.SharePerMille = row.Matched * 1000 / row.Offered
		}
		byFarm[f.GetFarmId()] = row
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
		c.Packs = append(c.Packs, packRow{Product: nameOf(n.products, a.GetProductId()), Lot: a.GetPickLotId(), Packs: a.GetPacks()})
	}
	for _, f := range m.GetFarms() {
		t.Farms = append(t.Farms, *byFarm[f.GetFarmId()])
	}
}

// nameOf falls back on the id: a thing without a name is still that thing.
func nameOf(names map[string]string, id string) string {
	if name := names[id]; name != "" {
		return name
	}
	return id
}
