package server

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/fusion"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/outlook"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/outbox"
)

// tellUsed tells which figure is used of the expected picks of the four weeks from
// tomorrow on, where it was not told or differs, or differs enough to matter.
func (s *Server) tellUsed(ctx context.Context, tx pgx.Tx, cal calendar, habits *outlook.Habits, how exactness) (int, error) {
	from, to := cal.today().Add(1), cal.today().Add(mostOutlookDays)
	before, err := store.UsedOfDays(ctx, tx, from, to)
	if err != nil {
		return 0, err
	}
	list, err := s.figures(ctx, tx, cal, from, to, "", habits)
	if err != nil {
		return 0, err
	}
	var now []store.Used
	var events []outbox.Event
	for _, f := range list {
		e, told := f.old, before[f.lot.ID]
		if e.Version == 0 || (!f.model && told.Version == 0) {
			continue // nobody pushed, or the push is used as it is and nothing else was ever told
		}
		differs := told.Band != f.out.Use && (how == exactly || matters(told.Band, f.out.Use))
		if told.Version == e.Version && !differs {
			continue
		}
		// Of one version the latest counts: never the same moment twice.
		at := s.clock.Now()
		if !at.After(told.At) {
			at = told.At.Add(time.Microsecond)
		}
		now = append(now, store.Used{LotID: f.lot.ID, Version: e.Version, Band: f.out.Use, At: at})
		events = append(events, outbox.Event{
			Thing: "expected_pick", What: "pushed", Aggregate: f.lot.ID,
			Payload: &harvestv1.ExpectedPickPushed{
				ExpectedPick: expectedMessage(e), UsedLowGrams: &f.out.Use.Low, UsedLikelyGrams: &f.out.Use.Likely, UsedHighGrams: &f.out.Use.High,
				UsedAt: timestamppb.New(at),
			},
		})
	}
	if len(now) == 0 {
		return 0, nil
	}
	if err := store.SaveUsed(ctx, tx, now); err != nil {
		return 0, err
	}
	return len(now), outbox.AddAll(ctx, tx, events)
}

// matters reports whether a figure differs so much that it is told again at once: by
// more than a kilogram and by more than a fiftieth of what was likely.
func matters(told, now fusion.Band) bool {
	most := max(1000, told.Likely/50)
	for _, d := range []int64{now.Low - told.Low, now.Likely - told.Likely, now.High - told.High} {
		if d > most || -d > most {
			return true
		}
	}
	return false
}

// tellStored tells how warm each lot in a store is held and until when it keeps,
// where that is new.
func (s *Server) tellStored(ctx context.Context, tx pgx.Tx, cal calendar) (int, error) {
	stock, err := store.StockOf(ctx, tx, cal.today(), "", "")
	if err != nil || len(stock) == 0 {
		return 0, err
	}
	readings, err := s.readings(ctx, tx)
	if err != nil {
		return 0, err
	}
	differ := map[string]store.PickLot{}
	for _, l := range stock {
		tenths, until, err := kept(l, readings[l.StoreID], cal)
		if err != nil {
			return 0, err
		}
		if !sameWarmth(l.StoreTenths, tenths) || !sameDay(l.KeepsUntil, until) {
			l.StoreTenths, l.KeepsUntil = tenths, until
			differ[l.ID] = l.PickLot
		}
	}
	if len(differ) == 0 {
		return 0, nil
	}
	var codes []string
	for id := range differ {
		codes = append(codes, id)
	}
	slices.Sort(codes)
	locked, err := store.LockLots(ctx, tx, codes)
	if err != nil {
		return 0, err
	}
	for _, code := range codes {
		l := locked[code]
		l.StoreTenths, l.KeepsUntil = differ[code].StoreTenths, differ[code].KeepsUntil
		l.Version++
		if err := store.SaveLot(ctx, tx, l); err != nil {
			return 0, err
		}
		if err := lots.TellStored(ctx, tx, l); err != nil {
			return 0, err
		}
	}
	return len(codes), nil
}

// kept says how warm a lot is held and the last day on which it still keeps; nil
// where no reading or no table tells.
func kept(l store.Stock, readings []store.StoreReading, cal calendar) (tenths *int, until *day.Date, err error) {
	if l.StoreID == "" || len(readings) == 0 {
		return nil, nil, nil
	}
	past, now := spells(readings, cal.pickedAt(l.PickLot), cal.now)
	hours, ok, err := remaining(l, past, now)
	if err != nil || !ok {
		return &now, nil, err
	}
	last := day.Of(cal.now.Add(time.Duration(hours) * time.Hour))
	return &now, &last, nil
}

// sameWarmth leaves half a degree to the play of the cooling.
func sameWarmth(a, b *int) bool {
	if a == nil || b == nil {
		return a == b
	}
	return max(*a-*b, *b-*a) < 5
}

func sameDay(a, b *day.Date) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}
