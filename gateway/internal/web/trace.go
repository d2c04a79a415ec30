package web

import (
	"context"
	"errors"
	"regexp"
	"strings"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
)

// tracePage is the family of one code.
type tracePage struct {
	Code    string
	Missing bool
	Found   bool
	What    string // key of what the code is
	Back    *origin
	Tree    tree
	List    []recallRow
	More    int64  // rows of the list beside those shown
	Table   *table // all of the list; nil where it is empty
	Compost []compostRow
	Packs   int64
	Kitchen int
}

// origin is a pack's or lot's line of descent.
type origin struct {
	Pack                         *orderv1.Pack
	Customer, Product, Day       string
	Lot, Farm, Room, Picked      string
	NetGrams                     int64
	Crop                         string
	Held, Exception, LotHoldsWhy string
}

// compostRow is a compost lot in a family.
type compostRow struct {
	ID, Yard, Delivered, ReleasedBy, Exception string
	Kilograms                                  int64
	Held                                       bool
}

// recallRow is packs of one pick lot that one kitchen has.
type recallRow struct {
	Customer, Product, Lot, Day, State string
	customerID                         string
	Packs                              int64
	Codes                              []string
}

// compostCode is the shape of a compost lot's code.
var compostCode = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,62}[a-z0-9])?$`)

// mostRecall is how many rows of the list are shown; the file has them all.
const mostRecall = 200

// longestCode is what the services take.
const longestCode = 160

// showTrace answers one box: the code of a pack, of a pick lot or of a compost lot.
func (p *Pages) showTrace(v *visit, _ *form) (view, error) {
	page := tracePage{Code: strings.TrimSpace(v.r.FormValue("code"))}
	if page.Code != "" {
		if len(page.Code) > longestCode {
			return view{}, fault.InvalidField("code", "%s", v.words.T("trace.too_long"))
		}
		if err := p.trace(v, &page); err != nil {
			return view{}, err
		}
		page.Missing = !page.Found
	}
	return view{template: "trace", title: "trace.title", data: page}, nil
}

// trace tries the code as a pack, a pick lot and a compost lot, in this order: the codes of
// the three have different shapes.
func (p *Pages) trace(v *visit, page *tracePage) error {
	var (
		n    names
		pack *orderv1.Pack
		lot  *harvestv1.TraceBackResponse
	)
	err := together(v.ctx,
		p.naming(&n, farmNames|roomNames|yardNames|customerNames|productNames),
		func(ctx context.Context) (err error) {
			pack, lot, err = p.traceBack(ctx, page.Code)
			return err
		},
	)
	if err != nil {
		return err
	}
	compost := page.Code
	if lot != nil {
		page.Found, page.What = true, "trace.pick_lot"
		if pack != nil {
			page.What = "trace.pack"
		}
		page.Back = originOf(v, pack, lot.GetPickLot(), lot.GetCrop(), n)
		for _, c := range lot.GetCrop().GetCompost() {
			page.Compost = append(page.Compost, compostRowOf(c, n))
		}
		if page.List, err = p.lotWent(v, lot.GetPickLot(), n); err != nil {
			return err
		}
		page.count()
		page.Tree = backTree(v, pack, lot.GetPickLot(), lot.GetCrop(), page.List, n)
		page.table(v)
		return nil
	}
	if !compostCode.MatchString(compost) {
		return nil
	}
	res, err := p.order.TraceForward(v.ctx, &orderv1.TraceForwardRequest{CompostLotId: compost})
	if unless(fault.NotFound, err) != nil {
		return err
	}
	if err == nil {
		page.Found, page.What = true, "trace.compost_lot"
		page.Compost = []compostRow{compostRowOf(res.GetCompost(), n)}
		page.List = recallRows(res.GetPacks(), n)
		page.count()
		page.Tree = forwardTree(v, res, n)
		page.table(v)
	}
	return nil
}

// count counts the packs of the list and the kitchens that have them.
func (page *tracePage) count() {
	kitchens := map[string]bool{}
	for _, r := range page.List {
		page.Packs += r.Packs
		kitchens[r.customerID] = true
	}
	page.Kitchen = len(kitchens)
}

// table is the list for the file; the page itself shows what fits.
func (page *tracePage) table(v *visit) {
	if len(page.List) == 0 {
		return
	}
	t := &table{ID: "packs", Caption: v.words.T("trace.list"), Columns: []column{
		{Key: "word.kitchen", Name: "kitchen"}, {Key: "word.product", Name: "product"}, {Key: "word.lot", Name: "pick_lot_id"}, {Key: "word.day", Name: "delivery_date"},
		{Key: "trace.state", Name: "state"}, {Key: "unit.packs", Name: "packs", Figures: true}, {Key: "pick.codes", Name: "pack_ids"},
	}}
	for _, r := range page.List {
		t.Rows = append(t.Rows, []cell{name(r.Customer), name(r.Product), code(r.Lot), v.date(r.Day), v.says(r.State), v.count(r.Packs), code(strings.Join(r.Codes, " "))})
	}
	page.Table = v.table(t)
	page.List = page.List[:min(len(page.List), mostRecall)]
	page.More = t.All - int64(len(page.List))
}

// lotWent is who got packs of a pick lot, over the days on which they may be delivered.
func (p *Pages) lotWent(v *visit, lot *harvestv1.PickLot, n names) ([]recallRow, error) {
	last := addDays(lot.GetDate(), int(n.products[lot.GetProductId()].GetShelfLifeDays())+1)
	res, err := p.order.ListDeliveries(v.ctx, &orderv1.ListDeliveriesRequest{FromDate: lot.GetDate(), UntilDate: last, FarmId: lot.GetFarmId()})
	if err != nil {
		return nil, err
	}
	var rows []recallRow
	for _, d := range res.GetDeliveries() {
		row := recallRow{
			customerID: d.GetCustomerId(), Customer: nameOf(n.customers, d.GetCustomerId()), Product: n.product(lot.GetProductId()), Lot: lot.GetPickLotId(), Day: d.GetDeliveryDate(),
			State: "delivery." + strings.ToLower(strings.TrimPrefix(d.GetState().String(), "DELIVERY_STATE_")),
		}
		for _, l := range d.GetLines() {
			if l.GetPickLotId() == lot.GetPickLotId() {
				row.Packs += l.GetPacks()
			}
		}
		if row.Packs > 0 {
			rows = append(rows, row)
		}
	}
	return rows, nil
}

// traceBack looks for a pack of the code, then for a pick lot; all nil where there is neither.
func (p *Pages) traceBack(ctx context.Context, code string) (*orderv1.Pack, *harvestv1.TraceBackResponse, error) {
	back, err := p.order.TraceBack(ctx, &orderv1.TraceBackRequest{PackId: code})
	if err == nil {
		return back.GetPack(), &harvestv1.TraceBackResponse{PickLot: back.GetPickLot(), Crop: back.GetCrop()}, nil
	}
	if unless(fault.NotFound, err) != nil {
		return nil, nil, err
	}
	lot, err := p.harvest.TraceBack(ctx, &harvestv1.TraceBackRequest{PickLotId: code})
	if err != nil {
		return nil, nil, unless(fault.NotFound, err)
	}
	if lot.GetPickLot() == nil {
		return nil, nil, errors.New("harvest traced a lot back to nothing")
	}
	return nil, lot, nil
}

func originOf(v *visit, pack *orderv1.Pack, lot *harvestv1.PickLot, crop *harvestv1.CropTrace, n names) *origin {
	o := &origin{
		Pack: pack, Product: n.product(lot.GetProductId()), Lot: lot.GetPickLotId(), Farm: nameOf(n.farms, lot.GetFarmId()), Room: nameOf(n.rooms, lot.GetRoomId()),
		Picked: lot.GetDate(), NetGrams: lot.GetNetGrams(), Crop: crop.GetCropId(), Exception: lot.GetCompostException(),
	}
	if lot.GetHeld() {
		o.Held = lot.GetHoldReason()
	}
	if pack != nil {
		o.Customer, o.Day = nameOf(n.customers, pack.GetCustomerId()), pack.GetDeliveryDate()
	}
	return o
}

func compostRowOf(c *harvestv1.CompostTrace, n names) compostRow {
	return compostRow{
		ID: c.GetCompostLotId(), Yard: nameOf(n.yards, c.GetYardId()), Delivered: c.GetDeliveredDate(), ReleasedBy: c.GetReleasedBy(),
		Exception: c.GetExceptionReason(), Kilograms: c.GetDeliveredKg(), Held: c.GetHeld(),
	}
}

// recallRows sums packs up by kitchen, lot, day and state, in the packs' own order within each.
func recallRows(packs []*orderv1.Pack, n names) []recallRow {
	type key struct{ customer, lot, day, state string }
	groups := map[key][]string{}
	products := map[key]string{}
	var order []key
	for _, p := range packs {
		k := key{p.GetCustomerId(), p.GetPickLotId(), p.GetDeliveryDate(), strings.ToLower(strings.TrimPrefix(p.GetState().String(), "DELIVERY_STATE_"))}
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k] = append(groups[k], p.GetPackId())
		products[k] = p.GetProductId()
	}
	var rows []recallRow
	for _, k := range order {
		rows = append(rows, recallRow{
			customerID: k.customer, Customer: nameOf(n.customers, k.customer), Product: n.product(products[k]), Lot: k.lot, Day: k.day, State: "delivery." + k.state,
			Packs: int64(len(groups[k])), Codes: runs(groups[k]),
		})
	}
	return rows
}
