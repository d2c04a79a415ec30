package web

import (
	"errors"
	"io"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// changesPage is what a match changes against the confirmed one, and nothing else.
type changesPage struct {
	Day, MatchID, Etag string
	Farms, Customers   []changesRow
	Confirm            *form
}

// changesRow is what changes for one farm or customer.
type changesRow struct {
	Name    string
	Changes []changeRow
}

// changeRow is packs that go elsewhere, or are more or fewer.
type changeRow struct {
	Other, Product, Lot string
	Before, After       int64
}

// rebalance matches a day anew with few changes and shows these only.
func (p *Pages) rebalance(v *visit) (view, error) {
	day, err := v.day(v.today(1))
	if err != nil {
		return view{}, err
	}
	steps, err := p.order.Rebalance(v.ctx, &orderv1.RebalanceRequest{RequestId: v.r.PostFormValue("request_id"), DeliveryDate: day})
	if err != nil {
		return view{}, err
	}
	var last *orderv1.RebalanceResponse
	for {
		step, err := steps.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return view{}, err
		}
		last = step
	}
	n, err := p.names(v.ctx, farmNames|customerNames|productNames)
	if err != nil {
		return view{}, err
	}
	page := changesPage{Day: day, MatchID: last.GetMatch().GetMatchId(), Etag: last.GetMatch().GetEtag(), Confirm: newForm()}
	page.Farms = changesRows(last.GetFarms(), n.farms, n, func(a *orderv1.AllocationChange) string { return nameOf(n.customers, a.GetCustomerId()) })
	page.Customers = changesRows(last.GetCustomers(), n.customers, n, func(a *orderv1.AllocationChange) string { return nameOf(n.farms, a.GetFarmId()) })
	return view{template: "changes", title: "changes.title", data: page}, nil
}

func changesRows(all []*orderv1.Changes, known map[string]string, n names, other func(*orderv1.AllocationChange) string) []changesRow {
	var rows []changesRow
	for _, c := range all {
		row := changesRow{Name: nameOf(known, c.GetId())}
		for _, a := range c.GetChanges() {
			row.Changes = append(row.Changes, changeRow{other(a), n.product(a.GetProductId()), a.GetPickLotId(), a.GetBefore(), a.GetAfter()})
		}
		rows = append(rows, row)
	}
	return rows
}
