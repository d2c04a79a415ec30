package web

import (
	"context"
	"net/url"
	"strconv"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
)

// lotParts are what changes on a lot's page while it is made: its evidence and its charts.
func (p *Pages) lotParts(v *visit) (map[string]part, error) {
	if err := p.enter(v); err != nil {
		return nil, err
	}
	shown, err := p.showLot(v.at("/lots/"+v.r.PathValue("lot")), newForm())
	if err != nil {
		return nil, err
	}
	page := shown.data.(lotPage)
	return map[string]part{"evidence": page.Evidence, "charts": page.Drawn}, nil
}

// pieces builds the parts of a lot's page that are kept up to date.
func (p *Pages) pieces(v *visit, page *lotPage) (err error) {
	if page.Evidence, err = p.part(v, "lot", "lotevidence", *page); err != nil {
		return err
	}
	page.Drawn, err = p.part(v, "lot", "lotcharts", *page)
	return err
}

// healthParts are the whole of the health page.
func (p *Pages) healthParts(v *visit) (map[string]part, error) {
	shown, err := p.showHealth(v.at("/health"), newForm())
	if err != nil {
		return nil, err
	}
	page := shown.data.(healthPage)
	return map[string]part{"services": page.State, "queues": page.Queued, "letters": page.Dead}, nil
}

// news is what changed since a match was run or since the page was shown.
type news struct {
	Day     string
	Orders  int64 // lines that are not as the match has them
	Supply  bool
	Another bool // a newer match stands
}

// tomorrowParts tell that the page of a day is behind: the visitor decides when to see it anew,
// so that nothing moves under their hand.
func (p *Pages) tomorrowParts(v *visit) (map[string]part, error) {
	if err := p.enter(v); err != nil {
		return nil, err
	}
	day, err := v.day(v.today(1))
	if err != nil {
		return nil, err
	}
	var (
		match  *orderv1.Match
		orders *orderv1.ListOrdersResponse
		supply *harvestv1.GetSupplyResponse
	)
	err = together(v.ctx,
		func(ctx context.Context) (err error) {
			match, err = p.order.GetMatch(ctx, &orderv1.GetMatchRequest{DeliveryDate: day})
			return unless(fault.NotFound, err)
		},
		ask(&orders, p.order.ListOrders, &orderv1.ListOrdersRequest{DeliveryDate: day}),
		ask(&supply, p.harvest.GetSupply, &harvestv1.GetSupplyRequest{FromDate: day, ToDate: day}),
	)
	if err != nil {
		return nil, err
	}
	told := news{Day: day, Supply: supplyKey(supply) != v.r.FormValue("supply"), Another: match.GetEtag() != v.r.FormValue("match")}
	if match != nil && !told.Another {
		told.Orders = changedLines(match.GetLines(), orders.GetOrders())
	}
	shown, err := p.part(v, "tomorrow", "tomorrownews", told)
	return map[string]part{"news": shown}, err
}

// changedLines is how many order lines are not as a match has them.
func changedLines(matched []*orderv1.MatchLine, orders []*orderv1.Order) (n int64) {
	type line struct{ order, product string }
	packs := map[line]int64{}
	for _, m := range matched {
		packs[line{m.GetOrderId(), m.GetProductId()}] = m.GetOrdered()
	}
	for _, o := range orders {
		for _, l := range o.GetLines() {
			key, now := line{o.GetOrderId(), l.GetProductId()}, l.GetPacks()
			if o.GetState() == orderv1.OrderState_ORDER_STATE_CANCELLED {
				now = 0
			}
			if packs[key] != now {
				n++
			}
			delete(packs, key)
		}
	}
	for _, was := range packs { // lines that are gone
		if was != 0 {
			n++
		}
	}
	return n
}

// supplyKey tells one supply of a day from another.
func supplyKey(supply *harvestv1.GetSupplyResponse) string {
	var key uint64 = 14695981039346656037 // FNV-1a, 64 bits
	add := func(text string) {
		for i := range len(text) {
			key = (key ^ uint64(text[i])) * 1099511628211
		}
		key *= 1099511628211
	}
	for _, d := range supply.GetDays() {
		add(d.GetDate() + d.GetProductId())
		for _, grams := range []int64{d.GetLowGrams(), d.GetLikelyGrams(), d.GetHighGrams(), d.GetPickedGrams()} {
			add(strconv.FormatInt(grams, 10))
		}
	}
	return strconv.FormatUint(key, 36)
}

// liveTomorrow is the address of the stream of a day's page.
func liveTomorrow(day, etag string, supply *harvestv1.GetSupplyResponse) string {
	return "/live/tomorrow?" + url.Values{"day": {day}, "match": {etag}, "supply": {supplyKey(supply)}}.Encode()
}
