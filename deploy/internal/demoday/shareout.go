package demoday

import (
	"context"
	"fmt"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// shareOut shares the open slots of the weeks to come among the requests: first a preview,
// then the round that grants.
func (d *Day) shareOut(ctx context.Context) error {
	if len(d.Files.Slots) == 0 || len(d.Files.CompostRequests) == 0 {
		return nil
	}
	from, to := d.Files.Slots[0].ReadyDate, d.Files.Slots[0].ReadyDate
	for _, s := range d.Files.Slots {
		from, to = min(from, s.ReadyDate), max(to, s.ReadyDate)
	}
	from = max(from, d.Plan.Day)
	if from > to {
		return nil
	}
	ask := &compostlotv1.ShareOutRequest{RequestId: ids.New(), FromDate: from, ToDate: to}
	preview, err := d.Compost.ShareOut(ctx, ask)
	if err != nil {
		return err
	}
	if len(preview.GetShares()) == 0 {
		return nil
	}
	round, err := d.Compost.ShareOut(ctx, &compostlotv1.ShareOutRequest{RequestId: ids.New(), FromDate: from, ToDate: to, Confirm: true})
	if fault.KindOf(err) == fault.Precondition && err != nil {
		fmt.Fprintf(d.Out, "\nCompost of %s to %s, a preview: %s\n\n", from, to, fault.From(err).Message)
		d.showShares(preview)
		return nil
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(d.Out, "\nCompost of %s to %s, shared out\n\n", from, to)
	d.showShares(round)
	return nil
}

func (d *Day) showShares(round *compostlotv1.Round) {
	t := newTable("farm", "room", "asked kg", "got kg", "why").right(2, 3)
	for _, s := range round.GetShares() {
		t.add(named(d.names.farms, s.GetFarmId()), named(d.names.rooms, s.GetRoomId()), s.GetWantedKg(), s.GetGrantedKg(), s.GetExplanation())
	}
	t.print(d.Out)
}
