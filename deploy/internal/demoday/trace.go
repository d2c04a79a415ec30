package demoday

import (
	"context"
	"fmt"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
)

// trace follows one delivered pack back to its yard, and its compost forward again. It takes
// the first pack whose crop stands on compost of a yard, or else the first. Where nothing was
// delivered it starts from the first allocated pick lot.
func (d *Day) trace(ctx context.Context, match *orderv1.Match, packs []pack) (Trace, error) {
	if len(packs) == 0 {
		return d.traceLot(ctx, match)
	}
	var first, chosen *orderv1.TraceBackResponse
	seen := make(map[string]bool)
	for _, p := range packs {
		if seen[p.pickLot] {
			continue
		}
		seen[p.pickLot] = true
		back, err := d.Order.TraceBack(ctx, &orderv1.TraceBackRequest{PackId: p.id})
		if err != nil {
			return Trace{}, fmt.Errorf("pack %s: %w", p.id, err)
		}
		if first == nil {
			first = back
		}
		if len(back.GetCrop().GetCompost()) > 0 {
			chosen = back
			break
		}
	}
	if chosen == nil {
		chosen = first
	}
	t := traceOf(chosen.GetPickLot(), chosen.GetCrop())
	t.Pack = chosen.GetPack().GetPackId()
	fmt.Fprintf(d.Out, "\nOne pack traced back\n\n")
	fmt.Fprintf(d.Out, " pack         %s, %s\n", t.Pack, named(d.names.products, chosen.GetPack().GetProductId()))
	fmt.Fprintf(d.Out, " delivered    %s, to %s\n", chosen.GetPack().GetDeliveryDate(), named(d.names.customers, chosen.GetPack().GetCustomerId()))
	d.showTrace(t, chosen.GetPickLot(), chosen.GetCrop())
	return t, d.traceForward(ctx, t)
}

// traceLot traces the first allocated pick lot, of which nothing has left yet.
func (d *Day) traceLot(ctx context.Context, match *orderv1.Match) (Trace, error) {
	if len(match.GetAllocations()) == 0 {
		return Trace{}, nil
	}
	a := match.GetAllocations()[0]
	back, err := d.Harvest.TraceBack(ctx, &harvestv1.TraceBackRequest{PickLotId: a.GetPickLotId()})
	if fault.KindOf(err) == fault.NotFound && err != nil {
		return Trace{PickLot: a.GetPickLotId(), Room: a.GetRoomId()}, nil // nothing picked: no more is known
	}
	if err != nil {
		return Trace{}, fmt.Errorf("pick lot %s: %w", a.GetPickLotId(), err)
	}
	t := traceOf(back.GetPickLot(), back.GetCrop())
	fmt.Fprintf(d.Out, "\nOne pick lot traced back\n\n")
	d.showTrace(t, back.GetPickLot(), back.GetCrop())
	return t, d.traceForward(ctx, t)
}

func traceOf(lot *harvestv1.PickLot, crop *harvestv1.CropTrace) Trace {
	t := Trace{PickLot: lot.GetPickLotId(), Crop: crop.GetCropId(), Room: crop.GetRoomId()}
	if compost := crop.GetCompost(); len(compost) > 0 {
		t.CompostLot, t.Yard = compost[0].GetCompostLotId(), compost[0].GetYardId()
	}
	return t
}

func (d *Day) showTrace(t Trace, lot *harvestv1.PickLot, crop *harvestv1.CropTrace) {
	fmt.Fprintf(d.Out, " pick lot     %s, picked %s\n", t.PickLot, lot.GetDate())
	fmt.Fprintf(d.Out, " crop         %s in %s of %s\n", t.Crop, named(d.names.rooms, t.Room), named(d.names.farms, crop.GetFarmId()))
	for _, c := range crop.GetCompost() {
		fmt.Fprintf(d.Out, " compost lot  %s of yard %s, %d kg on %s, released by %s\n", c.GetCompostLotId(), c.GetYardId(), c.GetDeliveredKg(), c.GetDeliveredDate(), c.GetReleasedBy())
		if c.GetExceptionReason() != "" {
			fmt.Fprintf(d.Out, "              released as an exception: %s\n", c.GetExceptionReason())
		}
	}
}

// traceForward tells how much came from the compost lot of a trace.
func (d *Day) traceForward(ctx context.Context, t Trace) error {
	if t.CompostLot == "" {
		return nil
	}
	forward, err := d.Order.TraceForward(ctx, &orderv1.TraceForwardRequest{CompostLotId: t.CompostLot})
	if err != nil {
		return fmt.Errorf("compost lot %s: %w", t.CompostLot, err)
	}
	kitchens := make(map[string]bool)
	for _, p := range forward.GetPacks() {
		kitchens[p.GetCustomerId()] = true
	}
	fmt.Fprintf(d.Out, "\n From compost lot %s came %s, %s and %s, which %s got.\n", t.CompostLot,
		counted(len(forward.GetCrops()), "crop"), counted(len(forward.GetPickLots()), "pick lot"),
		counted(len(forward.GetPacks()), "pack"), counted(len(kitchens), "kitchen"))
	return nil
}

// counted is a number with its word.
func counted(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}
