package demoday

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"breakshare.example/deploy/internal/importer"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// pack is one pack that left a farm.
type pack struct{ id, pickLot, order string }

// morning records the day's picks, sends off what was picked and confirms its delivery. It
// returns the packs that left, by farm, customer, product and lot. Without picks there are
// none.
func (d *Day) morning(ctx context.Context, match *orderv1.Match) ([]pack, error) {
	if len(d.Picks) == 0 {
		fmt.Fprintf(d.Out, "\nThe files have no picks of %s: nothing is weighed in and nothing leaves the farms.\n", d.Plan.Day)
		return nil, nil
	}
	d.Clock.Forward(d.Plan.Morning())
	files := *d.Files
	files.Picks = d.Picks
	if _, err := (importer.Importer{Clients: d.Clients}).Picks(ctx, &files); err != nil {
		return nil, err
	}
	want, err := d.pickedForMatch(ctx, match)
	if err != nil {
		return nil, err
	}
	t := newTable("farm", "allocated", "left the farm", "not picked").right(1, 2, 3)
	var packs []pack
	for _, f := range match.GetFarms() {
		if f.GetMatched() == 0 {
			continue
		}
		sent, err := d.dispatch(ctx, f.GetFarmId(), want[f.GetFarmId()])
		if err != nil {
			return nil, err
		}
		packs = append(packs, sent...)
		t.add(named(d.names.farms, f.GetFarmId()), f.GetMatched(), len(sent), f.GetMatched()-int64(len(sent)))
	}
	fmt.Fprintf(d.Out, "\nThe morning of %s: weighed in and sent, in packs\n\n", d.Plan.Day)
	t.print(d.Out)
	return packs, d.confirmDeliveries(ctx, packs)
}

// pickedForMatch is how many packs each farm can send: of each lot what was allocated, as
// far as it was picked.
func (d *Day) pickedForMatch(ctx context.Context, match *orderv1.Match) (map[string]int64, error) {
	allocated := make(map[string]int64) // by lot
	first := d.Plan.Day
	for _, a := range match.GetAllocations() {
		allocated[a.GetPickLotId()] += a.GetPacks()
	}
	lots, err := d.Harvest.ListPickLots(ctx, &harvestv1.ListPickLotsRequest{FromDate: d.Plan.date.AddDate(0, 0, -30).Format("2006-01-02"), ToDate: first})
	if err != nil {
		return nil, err
	}
	want := make(map[string]int64)
	for _, l := range lots.GetPickLots() {
		if p := d.names.product[l.GetProductId()]; p != nil {
			want[l.GetFarmId()] += min(allocated[l.GetPickLotId()], l.GetNetGrams()/p.GetPackGrams())
		}
	}
	return want, nil
}

// dispatch sends what a farm packed, again until order has heard of all that was picked.
func (d *Day) dispatch(ctx context.Context, farmID string, want int64) ([]pack, error) {
	var sent []pack
	_, err := poll(ctx, func() (bool, error) {
		note, err := d.Order.Dispatch(ctx, &orderv1.DispatchRequest{RequestId: ids.New(), DeliveryDate: d.Plan.Day, FarmId: farmID})
		if fault.KindOf(err) == fault.Precondition && err != nil {
			return int64(len(sent)) >= want, nil // nothing to send yet
		}
		if err != nil {
			return false, err
		}
		for _, l := range note.GetLines() {
			for _, id := range l.GetPackIds() {
				sent = append(sent, pack{id, l.GetPickLotId(), l.GetOrderId()})
			}
		}
		return int64(len(sent)) >= want, nil
	})
	return sent, err
}

// confirmDeliveries confirms each order as it was sent.
func (d *Day) confirmDeliveries(ctx context.Context, packs []pack) error {
	d.Clock.Forward(d.Plan.Delivered())
	count := make(map[string]int64)
	for _, p := range packs {
		count[p.order]++
	}
	for _, order := range slices.Sorted(maps.Keys(count)) {
		if _, err := d.Order.ConfirmDelivery(ctx, &orderv1.ConfirmDeliveryRequest{RequestId: ids.New(), OrderId: order, ReceivedPacks: count[order]}); err != nil {
			return fmt.Errorf("order %s: %w", order, err)
		}
	}
	fmt.Fprintf(d.Out, "\n %d packs of %d orders were delivered and confirmed.\n", len(packs), len(count))
	return nil
}
