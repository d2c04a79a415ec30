package web

import (
	"strings"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
)

// coldPage is what lies in a farm's cold stores, the oldest first.
type coldPage struct {
	Stores []storeRow
	Lots   []coldRow
	File   *table // the lots; nil for none
	Done   string
	Form   *form
	Add    newStore
}

// storeRow is one cold store as it was last read.
type storeRow struct {
	Name, Air, At, State, Warning string
	Out                           bool
	Watts                         int64
	Read                          storeReading
}

// coldRow is what is left of one pick lot.
type coldRow struct {
	Lot, Product, Room, Store string
	Grams, AgeHours, Hours    int64
	Known, Assumed            bool
	Soon                      bool // it keeps for less than a day
	Held                      string
	Discard                   discarding
}

// showCold shows the stock of the grower's farm.
func (p *Pages) showCold(v *visit, f *form) (view, error) {
	farm, err := p.farmOf(v)
	if err != nil {
		return view{}, err
	}
	var (
		stock *harvestv1.GetColdStockResponse
		n     names
	)
	err = together(v.ctx,
		ask(&stock, p.harvest.GetColdStock, &harvestv1.GetColdStockRequest{FarmId: farm}),
		p.naming(&n, roomNames|productNames),
	)
	if err != nil {
		return view{}, err
	}
	page := coldPage{Done: v.r.URL.Query().Get("done"), Form: f, Add: newStoreOf(v, f, farm)}
	stores := map[string]string{}
	for _, s := range stock.GetStores() {
		stores[s.GetStore().GetStoreId()] = s.GetStore().GetName()
		row := storeRow{
			Name: s.GetStore().GetName(), State: "store." + strings.ToLower(strings.TrimPrefix(s.GetCondition().String(), "STORE_CONDITION_")), Warning: s.GetWarning(),
			Out: s.GetOutOfRangeSince() != nil, Watts: s.GetHeatWatts(), Read: storeReadingOf(v, f, s.GetStore()),
		}
		if last := s.GetLast(); last != nil {
			row.Air, row.At = v.words.Degrees(int64(last.GetAirTenthsC())*100), v.words.Instant(last.GetTime().AsTime(), v.zone)
		}
		page.Stores = append(page.Stores, row)
	}
	for _, l := range stock.GetLots() {
		lot := l.GetPickLot()
		row := coldRow{
			Lot: lot.GetPickLotId(), Product: n.product(lot.GetProductId()), Room: nameOf(n.rooms, lot.GetRoomId()), Store: nameOf(stores, l.GetStoreId()), Grams: l.GetLeftGrams(),
			AgeHours: l.GetAgeHours(), Hours: l.GetRemainingHours(), Known: l.RemainingHours != nil, Assumed: l.GetAssumedTemperature(),
		}
		row.Discard = discardingOf(v, f, lot.GetPickLotId(), row.Product)
		row.Soon = row.Known && row.Hours < 24
		if lot.GetHeld() {
			row.Held = lot.GetHoldReason()
		}
		page.Lots = append(page.Lots, row)
	}
	if len(page.Lots) > 0 {
		page.File = coldTable(v, page.Lots)
	}
	return view{template: "cold", title: "cold.title", data: page}, nil
}
