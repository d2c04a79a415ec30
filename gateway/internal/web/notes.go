package web

import (
	"context"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
)

// notesPage is a farm's delivery notes of a day, one for each kitchen, to print and send along.
type notesPage struct {
	Day, Before, After string
	Farm               string
	Notes              []note
}

// note is what one kitchen gets from the farm.
type note struct {
	Kitchen, Order string
	Lines          *table
	Packs          int64
	Left           string // when the last of it left
}

// showNotes shows what left the farm, kitchen by kitchen.
func (p *Pages) showNotes(v *visit, _ *form) (view, error) {
	farm, day, err := p.farmDay(v)
	if err != nil {
		return view{}, err
	}
	var (
		res  *orderv1.ListDeliveriesResponse
		list *orderv1.PackList
		n    names
	)
	err = together(v.ctx,
		ask(&res, p.order.ListDeliveries, &orderv1.ListDeliveriesRequest{FromDate: day, FarmId: farm}),
		func(ctx context.Context) (err error) {
			// The pack list knows the kitchens' names.
			list, err = p.order.GetPackList(ctx, &orderv1.GetPackListRequest{DeliveryDate: day, FarmId: farm})
			return unless(fault.NotFound, unless(fault.Precondition, err))
		},
		p.naming(&n, farmNames|productNames),
	)
	if err != nil {
		return view{}, err
	}
	kitchens := byID(list.GetLines(), (*orderv1.PackListLine).GetCustomerId, (*orderv1.PackListLine).GetCustomerName)
	page := notesPage{Day: day, Before: addDays(day, -1), After: addDays(day, 1), Farm: nameOf(n.farms, farm)}
	for _, d := range res.GetDeliveries() {
		page.Notes = append(page.Notes, noteOf(v, d, nameOf(kitchens, d.GetCustomerId()), n))
	}
	return view{template: "notes", title: "notes.title", data: page}, nil
}

func noteOf(v *visit, d *orderv1.OrderDelivery, kitchen string, n names) note {
	one := note{Kitchen: kitchen, Order: d.GetOrderId(), Packs: d.GetDispatchedPacks()}
	t := &table{ID: "note-" + d.GetOrderId(), Caption: kitchen, Columns: []column{
		{Key: "word.product", Name: "product"}, {Key: "word.lot", Name: "pick_lot_id"}, {Key: "unit.packs", Name: "packs", Figures: true}, {Key: "unit.of_mass", Name: "grams", Figures: true},
	}}
	for _, l := range d.GetLines() {
		packed := nameOr(l.GetPackedProductId(), l.GetProductId())
		t.Rows = append(t.Rows, []cell{name(n.product(packed)), code(l.GetPickLotId()), v.count(l.GetPacks()), v.weight(l.GetPacks() * n.products[packed].GetPackGrams())})
		one.Left = v.words.Instant(l.GetDispatchedAt().AsTime(), v.zone)
	}
	one.Lines = v.table(t)
	return one
}
