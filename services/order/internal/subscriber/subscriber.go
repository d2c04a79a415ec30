// Package subscriber takes the events of other services into the order service's read models:
// supply from harvest; farms, the co-op's settings and what crops need of spawn and casing from
// scheduling. Each thing is kept at the
// highest version seen, so that events which come twice or out of order change nothing.
package subscriber

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/inbox"
)

// Harvest are the handlers of harvest's events.
func Harvest() map[string]inbox.Handler {
	handlers := make(map[string]inbox.Handler)
	inbox.Register(handlers, expectedPickPushed)
	inbox.Register(handlers, pickRecorded)
	inbox.Register(handlers, pickLotHeld)
	inbox.Register(handlers, stockChanged)
	inbox.Register(handlers, pickLotStored)
	return handlers
}

// Scheduling are the handlers of scheduling's events.
func Scheduling() map[string]inbox.Handler {
	handlers := make(map[string]inbox.Handler)
	inbox.Register(handlers, farmSaved)
	inbox.Register(handlers, coopSaved)
	inbox.Register(handlers, cropPlanned)
	inbox.Register(handlers, cropMoved)
	inbox.Register(handlers, cropStageReached)
	inbox.Register(handlers, cropEnded)
	return handlers
}

func expectedPickPushed(ctx context.Context, tx pgx.Tx, m inbox.Message, e *harvestv1.ExpectedPickPushed) error {
	p := e.GetExpectedPick()
	if err := whole(m, p.GetPickLotId(), p.GetFarmId(), p.GetRoomId(), p.GetProductId(), p.GetDate(), p.GetVersion()); err != nil {
		return err
	}
	used, err := usedOf(m, e)
	if err != nil {
		return err
	}
	return store.KeepExpected(ctx, tx, store.Expected{
		Lot: p.GetPickLotId(), Farm: p.GetFarmId(), Room: p.GetRoomId(), Product: p.GetProductId(), Day: p.GetDate(),
		LowGrams: p.GetLowGrams(), LikelyGrams: p.GetLikelyGrams(), HighGrams: p.GetHighGrams(),
		Version: p.GetVersion(), PushedBy: p.GetPushedBy(), PushedAt: p.GetPushedAt().AsTime(), Used: used,
	}, m.Time)
}

// usedOf is what harvest uses in place of the push; nil where it says nothing.
func usedOf(m inbox.Message, e *harvestv1.ExpectedPickPushed) (*store.Used, error) {
	if e.UsedLowGrams == nil && e.UsedLikelyGrams == nil && e.UsedHighGrams == nil {
		return nil, nil
	}
	u := store.Used{LowGrams: e.GetUsedLowGrams(), LikelyGrams: e.GetUsedLikelyGrams(), HighGrams: e.GetUsedHighGrams(), At: e.GetUsedAt().AsTime()}
	whole := e.UsedLowGrams != nil && e.UsedLikelyGrams != nil && e.UsedHighGrams != nil && e.GetUsedAt() != nil
	if !whole || u.LowGrams < 0 || u.LowGrams > u.LikelyGrams || u.LikelyGrams > u.HighGrams {
		return nil, inbox.Permanent(fmt.Errorf("event %s (%s) needs low, likely and high grams that are used, in this order, and since when: has %v",
			m.ID, m.Type, e))
	}
	return &u, nil
}

// pickLotStored tells how a lot is kept: warm, it keeps for less long.
func pickLotStored(ctx context.Context, tx pgx.Tx, m inbox.Message, e *harvestv1.PickLotStored) error {
	return keepPickLot(ctx, tx, m, e.GetPickLot())
}

func pickRecorded(ctx context.Context, tx pgx.Tx, m inbox.Message, e *harvestv1.PickRecorded) error {
	return keepPickLot(ctx, tx, m, e.GetPickLot())
}

func pickLotHeld(ctx context.Context, tx pgx.Tx, m inbox.Message, e *harvestv1.PickLotHeld) error {
	return keepPickLot(ctx, tx, m, e.GetPickLot())
}

// stockChanged tells that some of a lot was thrown away: no more than what is left can be sold.
func stockChanged(ctx context.Context, tx pgx.Tx, m inbox.Message, e *harvestv1.StockChanged) error {
	return keepPickLot(ctx, tx, m, e.GetPickLot())
}

func keepPickLot(ctx context.Context, tx pgx.Tx, m inbox.Message, l *harvestv1.PickLot) error {
	if err := whole(m, l.GetPickLotId(), l.GetFarmId(), l.GetRoomId(), l.GetProductId(), l.GetDate(), l.GetVersion()); err != nil {
		return err
	}
	if until := l.GetKeepsUntilDate(); until != "" {
		if _, err := time.Parse(time.DateOnly, until); err != nil {
			return inbox.Permanent(fmt.Errorf("event %s (%s) says that lot %s keeps until %q, which is no day", m.ID, m.Type, l.GetPickLotId(), until))
		}
	}
	return store.KeepPickLot(ctx, tx, store.PickLot{
		Lot: l.GetPickLotId(), Farm: l.GetFarmId(), Room: l.GetRoomId(), Product: l.GetProductId(), Day: l.GetDate(),
		NetGrams: l.GetNetGrams(), Picked: l.GetNetGrams() > 0 || l.GetPicks() > 0, Held: l.GetHeld(), HoldReason: l.GetHoldReason(), Version: l.GetVersion(),
		StoreCelsius: l.StoreTemperatureCelsius, KeepsUntil: l.GetKeepsUntilDate(),
	}, m.Time)
}

// whole refuses for good an event that does not say which lot it is about: no later try mends it.
func whole(m inbox.Message, lot, farm, room, product, date string, version int64) error {
	_, err := time.Parse(time.DateOnly, date)
	if lot == "" || farm == "" || room == "" || product == "" || version < 1 || err != nil {
		return inbox.Permanent(fmt.Errorf("event %s (%s) needs lot, farm, room, product, date and version: has %q, %q, %q, %q, %q, %d",
			m.ID, m.Type, lot, farm, room, product, date, version))
	}
	return nil
}

func farmSaved(ctx context.Context, tx pgx.Tx, m inbox.Message, e *schedulingv1.FarmSaved) error {
	if e.GetFarm().GetFarmId() == "" || e.GetVersion() < 1 {
		return inbox.Permanent(fmt.Errorf("event %s (%s) needs a farm and its version", m.ID, m.Type))
	}
	return store.KeepFarm(ctx, tx, store.Farm{
		ID: e.GetFarm().GetFarmId(), Name: e.GetFarm().GetName(),
		CarryCostMinorPerKg: e.GetFarm().GetCarryCostMinorPerKg(), MemberShares: int64(e.GetFarm().GetMemberShares()), Version: e.GetVersion(),
	})
}

func coopSaved(ctx context.Context, tx pgx.Tx, m inbox.Message, e *schedulingv1.CoopSaved) error {
	if e.GetCoop().GetCurrencyCode() == "" || e.GetVersion() < 1 {
		return inbox.Permanent(fmt.Errorf("event %s (%s) needs the co-op's settings and their version", m.ID, m.Type))
	}
	return store.KeepCoop(ctx, tx, store.Coop{
		Name: e.GetCoop().GetName(), TimeZone: e.GetCoop().GetTimeZone(), CurrencyCode: e.GetCoop().GetCurrencyCode(), Version: e.GetVersion(),
	})
}
