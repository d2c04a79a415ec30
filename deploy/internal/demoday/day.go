package demoday

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"breakshare.example/deploy/internal/coopfiles"
	"breakshare.example/deploy/internal/importer"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// catchUp is how long the day waits for a service to hear of what another was told.
const catchUp = 15 * time.Second

// Day runs one day over a suite into which the co-op's files have been imported, all but the
// picks of the day itself. Its caller's context carries a coordinator.
type Day struct {
	importer.Clients
	Plan  Plan
	Clock *Clock
	// Files as imported, and the picks that were held back.
	Files *coopfiles.Folder
	Picks []coopfiles.Pick
	// Out hears of the day in tables.
	Out io.Writer

	names names
}

// Run runs the day and returns it in numbers.
func (d *Day) Run(ctx context.Context) (*Summary, error) {
	var err error
	if d.names, err = readNames(ctx, d.Clients); err != nil {
		return nil, fmt.Errorf("names: %w", err)
	}
	if err := d.shareOut(ctx); err != nil {
		return nil, fmt.Errorf("share out compost: %w", err)
	}
	match, err := d.match(ctx)
	if err != nil {
		return nil, fmt.Errorf("match: %w", err)
	}
	lists, err := d.packLists(ctx, match)
	if err != nil {
		return nil, fmt.Errorf("pack lists: %w", err)
	}
	d.showMatch(match)
	d.showPackLists(lists)
	summary := summarise(match, lists)

	packs, err := d.morning(ctx, match)
	if err != nil {
		return nil, fmt.Errorf("the morning: %w", err)
	}
	if summary.Trace, err = d.trace(ctx, match, packs); err != nil {
		return nil, fmt.Errorf("trace: %w", err)
	}
	return summary, nil
}

// match runs the match until order has heard of all that harvest has, and confirms it.
func (d *Day) match(ctx context.Context) (*orderv1.Match, error) {
	var match *orderv1.Match
	heard, err := poll(ctx, func() (bool, error) {
		expected, err := d.expectedOffer(ctx)
		if err != nil {
			return false, err
		}
		if match, err = d.runMatch(ctx); err != nil {
			return false, err
		}
		return same(likely(match), expected), nil
	})
	if err != nil {
		return nil, err
	}
	if !heard {
		fmt.Fprintf(d.Out, "note: after %s the match still had other packs offered than the farms told of\n", catchUp)
	}
	return d.Order.ConfirmMatch(ctx, &orderv1.ConfirmMatchRequest{RequestId: ids.New(), MatchId: match.GetMatchId(), Etag: match.GetEtag()})
}

func (d *Day) runMatch(ctx context.Context) (*orderv1.Match, error) {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	steps, err := d.Order.RunMatch(ctx, &orderv1.RunMatchRequest{RequestId: ids.New(), DeliveryDate: d.Plan.Day})
	if err != nil {
		return nil, err
	}
	var match *orderv1.Match
	for {
		step, err := steps.Recv()
		switch {
		case errors.Is(err, io.EOF) && match == nil:
			return nil, fault.New(fault.Internal, "NO_MATCH", "the run ended without a match")
		case errors.Is(err, io.EOF):
			return match, nil
		case err != nil:
			return nil, err
		}
		if step.GetMatch() != nil {
			match = step.GetMatch()
		}
	}
}

func (d *Day) packLists(ctx context.Context, match *orderv1.Match) ([]*orderv1.PackList, error) {
	var lists []*orderv1.PackList
	for _, f := range match.GetFarms() {
		if f.GetMatched() == 0 {
			continue
		}
		list, err := d.Order.GetPackList(ctx, &orderv1.GetPackListRequest{DeliveryDate: d.Plan.Day, FarmId: f.GetFarmId()})
		if err != nil {
			return nil, err
		}
		lists = append(lists, list)
	}
	return lists, nil
}

// poll asks until done, an error or catchUp, and reports whether it was done.
func poll(ctx context.Context, done func() (bool, error)) (bool, error) {
	tick := time.NewTicker(300 * time.Millisecond)
	defer tick.Stop()
	late := time.After(catchUp)
	for {
		ok, err := done()
		if ok || err != nil {
			return ok, err
		}
		select {
		case <-ctx.Done():
			return false, ctx.Err()
		case <-late:
			return false, nil
		case <-tick.C:
		}
	}
}
