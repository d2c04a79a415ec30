package server

import (
	"cmp"
	"fmt"
	"slices"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
)

// problemsIn reads what a customer found wrong, by product, lot and kind, and refuses more packs
// than there can be: of a product or lot more than left, missing more than were not received, and
// others more than were.
func problemsIn(given []*orderv1.ReceiptProblem, sent []store.Sent, d store.Delivery) ([]store.ReceiptProblem, error) {
	room := newReceiptRoom(sent, d)
	problems := make([]store.ReceiptProblem, len(given))
	for i, p := range given {
		path := fmt.Sprintf("problems[%d]", i)
		if p.GetKind() == orderv1.ReceiptProblemKind_RECEIPT_PROBLEM_KIND_OTHER && p.GetRemark() == "" {
			return nil, fault.InvalidField(path+".remark", "is empty: say in words what is wrong")
		}
		if err := room.take(p, path); err != nil {
			return nil, err
		}
		problems[i] = store.ReceiptProblem{Product: p.GetProductId(), Lot: p.GetPickLotId(), Kind: int32(p.GetKind()), Packs: p.GetPacks(), Remark: p.GetRemark()}
	}
	slices.SortStableFunc(problems, func(a, b store.ReceiptProblem) int {
		return cmp.Or(cmp.Compare(a.Product, b.Product), cmp.Compare(a.Lot, b.Lot), cmp.Compare(a.Kind, b.Kind))
	})
	return problems, nil
}

// receiptRoom is how many packs can still have something wrong with them.
type receiptRoom struct {
	products          map[string]int64
	lots              map[productLot]int64
	missing, received int64
}

type productLot struct{ product, lot string }

func newReceiptRoom(sent []store.Sent, d store.Delivery) *receiptRoom {
	r := &receiptRoom{products: make(map[string]int64), lots: make(map[productLot]int64), missing: d.Dispatched - d.Received, received: d.Received}
	for _, s := range sent {
		r.products[s.Product] += s.Packs
		r.lots[productLot{s.Product, s.Lot}] += s.Packs
	}
	return r
}

// take counts the packs of a problem off.
func (r *receiptRoom) take(p *orderv1.ReceiptProblem, path string) error {
	product, lot := p.GetProductId(), productLot{p.GetProductId(), p.GetPickLotId()}
	left, sent := r.products[product]
	ofLot, sentLot := r.lots[lot]
	whole, what := &r.received, "received"
	if p.GetKind() == orderv1.ReceiptProblemKind_RECEIPT_PROBLEM_KIND_MISSING {
		whole, what = &r.missing, "missing"
	}
	switch {
	case !sent:
		return fault.InvalidField(path+".product_id", "no pack of %q left for the order: name a product of the delivery", product)
	case lot.lot != "" && !sentLot:
		return fault.InvalidField(path+".pick_lot_id", "no pack of %q from lot %q left for the order: name a lot of the delivery, or none", product, lot.lot)
	case p.GetPacks() > left || (lot.lot != "" && p.GetPacks() > ofLot):
		return fault.InvalidField(path+".packs", "are more than left of it and are not in another problem: count again")
	case p.GetPacks() > *whole:
		return fault.InvalidField(path+".packs", "with those before it are more than the packs %s: count again", what)
	}
	r.products[product] -= p.GetPacks()
	r.lots[lot] -= p.GetPacks()
	*whole -= p.GetPacks()
	return nil
}

func problemsOut(all []store.ReceiptProblem) []*orderv1.ReceiptProblem {
	var out []*orderv1.ReceiptProblem
	for _, p := range all {
		out = append(out, &orderv1.ReceiptProblem{
			ProductId: p.Product, PickLotId: p.Lot, Kind: orderv1.ReceiptProblemKind(p.Kind), Packs: p.Packs, Remark: p.Remark,
		})
	}
	return out
}
