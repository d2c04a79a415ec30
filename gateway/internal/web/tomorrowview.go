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
	ShortLines        int64
	MoreShort         int64  // short lines beside those shown
	Left              *table // nil where nothing is
	Farms             *table // nil where no farm offers
	Farm              string // whose packs are shown; empty for none
	Packs             *table
	Verified          bool
	Pins              []pinRow
	PinsCost          string // what the pins took off the value met; empty without any
	Gap               string // value below the bound that no match exceeds; empty for none
	Rebalanced        bool   // after a confirmed match
	Lines             *table
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
	Worth, WorthPerMass            string // of one pack more; empty where nobody would take it
	Said, Likely                   int64  // packs that growers said, and that are reckoned with, where the two differ
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
	Address                   string // of the line's page
	Ordered, Matched, Missing int64
}

// mostShort is how many short lines are told in full; the table of lines has them all.
const mostShort = 30

func (t *tomorrow) fill(v *visit, m *orderv1.Match, supply *harvestv1.GetSupplyResponse, n names) {
	t.MatchID, t.Etag = m.GetMatchId(), m.GetEtag()
	t.Confirmed, t.ConfirmedBy = m.GetState() == orderv1.MatchState_MATCH_STATE_CONFIRMED, m.GetConfirmedBy()
	t.Verified = m.GetProof().GetVerified()
	t.Rebalanced = m.GetRebalancedFrom() != ""
	if m.PinsCostMinor != nil {
		t.PinsCost = t.money(m.GetPinsCostMinor())
	}
	gap := int64(0)
	for _, minor := range m.GetProof().GetGapMinor() {
		gap += max(0, minor)
	}
	if gap > 0 {
		t.Gap = t.money(gap)
	}
	t.fillProducts(v, m, byID(supply.GetDays(), (*harvestv1.SupplyDay).GetProductId, func(d *harvestv1.SupplyDay) *harvestv1.SupplyDay { return d }), n)
	t.fillLines(v, m, n)
	t.fillFarms(v, m, n)
}

func (t *tomorrow) fillProducts(v *visit, m *orderv1.Match, supply map[string]*harvestv1.SupplyDay, n names) {
	var largest int64 = 1
	for _, p := range m.GetProducts() {
		row := productRow{
			Name: n.product(p.GetProductId()), Offered: p.GetOffered(), Ordered: p.GetOrdered(), Matched: p.GetMatched(),
			Left: p.GetLeft(), Missing: p.GetOrdered() - p.GetMatched(), LeftGrams: p.GetLeft() * n.products[p.GetProductId()].GetPackGrams(),
		}
		row.LeftWhy, row.PooledGrams = p.GetLeftOver(), p.GetPooledGainGrams()
		if p.GetMoreWorthMinor() > 0 {
			row.Worth, row.WorthPerMass = t.money(p.GetMoreWorthMinor()), t.money(v.words.PerMass(p.GetWorthMinorPerKg()))
		}
		if p.GetSaid() != p.GetLikely() {
			row.Said, row.Likely = p.GetSaid(), p.GetLikely()
		}
		row.spread(supply[p.GetProductId()], n.products[p.GetProductId()].GetPackGrams())
		largest = max(largest, row.Offered, row.Ordered, row.High)
		t.OrderedPacks += row.Ordered
		t.MatchedPacks += row.Matched
		t.Products = append(t.Products, row)
	}
	var left []productRow
	for i := range t.Products {
		row := &t.Products[i]
		row.OfferedBar, row.OrderedBar, row.GotBar = row.Offered*1000/largest, row.Ordered*1000/largest, row.Matched*1000/largest
		row.LowBar = row.Low * 1000 / largest
		row.WidthBar = row.High*1000/largest - row.LowBar
		if row.Left > 0 {
			left = append(left, *row)
		}
	}
	// What is short comes first: it is what the coordinator must act on.
	slices.SortStableFunc(t.Products, func(a, b productRow) int { return cmp.Compare(b.Missing, a.Missing) })
	slices.SortStableFunc(left, func(a, b productRow) int { return cmp.Compare(b.LeftGrams, a.LeftGrams) })
	if len(left) == 0 {
		return
	}
	t.Left = &table{ID: "left", Caption: v.words.T("tomorrow.left_over"), Columns: []column{
		{Key: "word.product", Name: "product"}, {Key: "unit.packs", Name: "packs", Figures: true}, {Key: "unit.of_mass", Name: "grams", Figures: true},
	}}
	for _, row := range left {
		t.Left.Rows = append(t.Left.Rows, []cell{name(row.Name).with(row.LeftWhy), v.count(row.Left), v.weight(row.LeftGrams)})
	}
	v.table(t.Left)
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

// fillLines lists every line, and tells the worst of the short ones in full.
func (t *tomorrow) fillLines(v *visit, m *orderv1.Match, n names) {
	t.Lines = &table{ID: "lines", Caption: v.words.T("tomorrow.every_line"), Columns: []column{
		{Key: "word.kitchen", Name: "kitchen"}, {Key: "word.product", Name: "product"}, {Key: "tomorrow.col_ordered", Name: "ordered_packs", Figures: true},
		{Key: "tomorrow.col_got", Name: "got_packs", Figures: true}, {Key: "tomorrow.col_short", Name: "short_packs", Figures: true},
	}}
	for _, l := range m.GetLines() {
		row := shortRow{
			Customer: nameOf(n.customers, l.GetCustomerId()), Product: n.product(l.GetProductId()), Why: l.GetExplanation(),
			Ordered: l.GetOrdered(), Matched: l.GetMatched(), Missing: l.GetOrdered() - l.GetMatched(),
			Address: queryOf("/line", "day", t.Day, "match", t.MatchID, "order", l.GetOrderId(), "product", l.GetProductId()),
		}
		short := none()
		if row.Missing > 0 {
			t.Short = append(t.Short, row)
			short = v.count(row.Missing).strong()
		}
		t.Lines.Rows = append(t.Lines.Rows, []cell{name(row.Customer), name(row.Product).to(row.Address), v.count(row.Ordered), v.count(row.Matched), short})
	}
	v.table(t.Lines)
	slices.SortStableFunc(t.Short, func(a, b shortRow) int { return cmp.Compare(b.Missing, a.Missing) })
	t.ShortLines = int64(len(t.Short))
	t.Short = t.Short[:min(mostShort, len(t.Short))]
	t.MoreShort = t.ShortLines - int64(len(t.Short))
}

// fillFarms lists the farms, and the packs of the one that is asked for. The allocations come by
// farm, customer, product and lot.
func (t *tomorrow) fillFarms(v *visit, m *orderv1.Match, n names) {
	if len(m.GetFarms()) == 0 {
		return
	}
	t.Farms = &table{ID: "farms", Caption: v.words.T("tomorrow.who_packs"), Columns: []column{
		{Key: "word.farm", Name: "farm"}, {Key: "tomorrow.col_offered", Name: "offered_packs", Figures: true}, {Key: "tomorrow.col_packs", Name: "packs", Figures: true},
	}}
	asked := v.r.FormValue("farm")
	for _, f := range m.GetFarms() {
		farm := nameOf(n.farms, f.GetFarmId())
		if f.GetFarmId() == asked {
			t.Farm = farm
		}
		t.Farms.Rows = append(t.Farms.Rows, []cell{name(farm).to(queryOf("/tomorrow", "day", t.Day, "farm", f.GetFarmId()) + "#packs"), v.count(f.GetOffered()), v.count(f.GetMatched())})
	}
	v.table(t.Farms)
	t.Packs = &table{ID: "packs", Caption: v.words.T("tomorrow.all_packs"), Columns: []column{
		{Key: "word.kitchen", Name: "kitchen"}, {Key: "word.product", Name: "product"}, {Key: "word.lot", Name: "pick_lot_id"}, {Key: "unit.packs", Name: "packs", Figures: true},
	}}
	if t.Farm == "" {
		t.Packs.Columns = append([]column{{Key: "word.farm", Name: "farm"}}, t.Packs.Columns...)
	}
	for _, a := range m.GetAllocations() {
		row := []cell{name(nameOf(n.customers, a.GetCustomerId())), name(n.product(nameOr(a.GetPackedProductId(), a.GetProductId()))), code(a.GetPickLotId()), v.count(a.GetPacks())}
		switch {
		case t.Farm == "":
			row = append([]cell{name(nameOf(n.farms, a.GetFarmId()))}, row...)
		case a.GetFarmId() != asked:
			continue
		}
		t.Packs.Rows = append(t.Packs.Rows, row)
	}
	v.table(t.Packs)
}
