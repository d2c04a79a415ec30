// Package subscriber owns how others' events become this service's read model for
// planning: products and what is ordered of them from order, the slots of the yards
// and what was granted of them from compostlot. Each row keeps the newest version:
// an event that comes late or twice changes nothing.
package subscriber

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// Sources returns what to do with each event, by the service that tells of it.
func Sources() map[string]map[string]inbox.Handler {
	return map[string]map[string]inbox.Handler{"order": ordering(), "compostlot": compost()}
}

func ordering() map[string]inbox.Handler {
	h := map[string]inbox.Handler{}
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, m inbox.Message, e *orderv1.ProductSaved) error {
		p := e.GetProduct()
		return store.SaveProduct(ctx, tx, m.CoopID, store.Product{
			ID: p.GetProductId(), Name: p.GetName(), Species: p.GetSpecies(), PickStage: pickStages[p.GetPickStage()],
			PackGrams: p.GetPackGrams(), PackValueMinor: p.GetPackValueMinor(), Version: e.GetVersion(),
		})
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, m inbox.Message, e *orderv1.OrderPlaced) error {
		return saveOrder(ctx, tx, m.CoopID, e.GetOrder(), false)
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, m inbox.Message, e *orderv1.OrderChanged) error {
		return saveOrder(ctx, tx, m.CoopID, e.GetOrder(), false)
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, m inbox.Message, e *orderv1.OrderCancelled) error {
		return saveOrder(ctx, tx, m.CoopID, e.GetOrder(), true)
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, m inbox.Message, e *orderv1.StandingOrderSaved) error {
		return saveStandingOrder(ctx, tx, m.CoopID, e)
	})
	return h
}

func compost() map[string]inbox.Handler {
	h := map[string]inbox.Handler{}
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, m inbox.Message, e *compostlotv1.SlotPublished) error {
		return saveSlot(ctx, tx, m, e.GetSlot(), false)
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, m inbox.Message, e *compostlotv1.SlotWithdrawn) error {
		return saveSlot(ctx, tx, m, e.GetSlot(), true)
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, m inbox.Message, e *compostlotv1.ShareGranted) error {
		for _, part := range e.GetShare().GetSlots() {
			err := store.SaveGrant(ctx, tx, m.CoopID, store.Grant{
				SlotID: part.GetSlotId(), RoundID: e.GetRoundId(), RequestID: e.GetShare().GetCompostRequestId(), Kg: part.GetGrantedKg(),
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
	return h
}

// saveSlot keeps the slot. One without a day will not get one by trying again.
func saveSlot(ctx context.Context, tx pgx.Tx, m inbox.Message, s *compostlotv1.Slot, withdrawn bool) error {
	ready, err := calendar.ParseDate(s.GetReadyDate())
	if err != nil {
		return inbox.Permanent(fmt.Errorf("slot %q: %w", s.GetSlotId(), err))
	}
	return store.SaveSlot(ctx, tx, m.CoopID, store.Slot{
		ID: s.GetSlotId(), YardID: s.GetYardId(), Ready: ready, Phase: int16(s.GetPhase()),
		CapacityKg: s.GetCapacityKg(), PriceMinorPerTonne: s.GetPriceMinorPerTonne(), ToldAt: m.Time, Withdrawn: withdrawn,
	})
}

// saveOrder keeps the order. One without a day will not get one by trying again.
func saveOrder(ctx context.Context, tx pgx.Tx, coopID string, o *orderv1.Order, cancelled bool) error {
	day, err := calendar.ParseDate(o.GetDeliveryDate())
	if err != nil {
		return inbox.Permanent(fmt.Errorf("order %q: %w", o.GetOrderId(), err))
	}
	order := store.Order{
		ID: o.GetOrderId(), CustomerID: o.GetCustomerId(), Delivery: day, Version: o.GetVersion(),
		Standing:  o.GetOrigin() == orderv1.OrderOrigin_ORDER_ORIGIN_STANDING || o.GetOrigin() == orderv1.OrderOrigin_ORDER_ORIGIN_STANDING_TOUCHED,
		Cancelled: cancelled || o.GetState() == orderv1.OrderState_ORDER_STATE_CANCELLED,
	}
	for _, l := range o.GetLines() {
		order.Lines = append(order.Lines, store.OrderLine{ProductID: l.GetProductId(), Packs: l.GetPacks()})
	}
	return store.SaveOrder(ctx, tx, coopID, order)
}

// saveStandingOrder keeps the standing order. One whose days are none will not get
// any by trying again.
func saveStandingOrder(ctx context.Context, tx pgx.Tx, coopID string, e *orderv1.StandingOrderSaved) error {
	o := e.GetStandingOrder()
	order := store.StandingOrder{ID: o.GetStandingOrderId(), CustomerID: o.GetCustomerId(), Live: !o.GetPaused() && !o.GetEnded(), Version: e.GetVersion()}
	var err error
	day := func(text string) calendar.Date {
		d, wrong := calendar.ParseDate(text)
		if wrong != nil {
			err = inbox.Permanent(fmt.Errorf("standing order %q: %w", o.GetStandingOrderId(), wrong))
		}
		return d
	}
	order.From = day(o.GetFromDate())
	if o.GetUntilDate() != "" {
		until := day(o.GetUntilDate())
		order.Until = &until
	}
	for _, l := range o.GetLines() {
		for _, weekday := range l.GetWeekdays() {
			order.Lines = append(order.Lines, store.StandingLine{ProductID: l.GetProductId(), Weekday: int16(weekday), Packs: l.GetPacks()})
		}
	}
	for _, r := range o.GetExceptions() {
		rest := store.StandingRest{From: day(r.GetFromDate())}
		if rest.Until = rest.From; r.GetUntilDate() != "" {
			rest.Until = day(r.GetUntilDate())
		}
		order.Rests = append(order.Rests, rest)
	}
	if err != nil {
		return err
	}
	return store.SaveStandingOrder(ctx, tx, coopID, order)
}

var pickStages = map[typev1.PickStage]programme.PickStage{
	typev1.PickStage_PICK_STAGE_CLOSED: programme.Closed,
	typev1.PickStage_PICK_STAGE_VEILED: programme.Veiled,
	typev1.PickStage_PICK_STAGE_OPEN:   programme.Open,
	typev1.PickStage_PICK_STAGE_FLAT:   programme.Flat,
}
