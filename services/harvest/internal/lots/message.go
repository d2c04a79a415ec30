package lots

import (
	"context"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/outbox"
)

// Message is a pick lot as calls and events show it.
func Message(l store.PickLot) *harvestv1.PickLot {
	m := &harvestv1.PickLot{
		PickLotId: l.ID, FarmId: l.FarmID, RoomId: l.RoomID, CropId: l.Origin.CropID, ProductId: l.ProductID,
		Date: l.Day.String(), NetGrams: l.Left(), DiscardedGrams: l.Discarded, Picks: l.Picks, CompostLotIds: l.Origin.CompostIDs,
		Held: l.Held(), HoldReason: l.HoldReason(), HeldBy: l.HeldBy,
		CompostException: l.Origin.Exception, Version: l.Version,
	}
	if l.StoreTenths != nil {
		celsius := float64(*l.StoreTenths) / 10
		m.StoreTemperatureCelsius = &celsius
	}
	if l.KeepsUntil != nil {
		m.KeepsUntilDate = l.KeepsUntil.String()
	}
	return m
}

// TellHeld tells that a lot may not be sold, may again, or is held for another
// reason.
func TellHeld(ctx context.Context, tx pgx.Tx, l store.PickLot) error {
	return outbox.Add(ctx, tx, outbox.Event{
		Thing: "pick_lot", What: "held", Aggregate: l.ID, Payload: &harvestv1.PickLotHeld{PickLot: Message(l)},
	})
}

// TellTraced tells that a lot's origin is known, or known better.
func TellTraced(ctx context.Context, tx pgx.Tx, l store.PickLot) error {
	return outbox.Add(ctx, tx, outbox.Event{
		Thing: "pick_lot", What: "traced", Aggregate: l.ID, Payload: &harvestv1.PickLotTraced{PickLot: Message(l)},
	})
}

// TellStored tells how a lot is kept, and until when it keeps.
func TellStored(ctx context.Context, tx pgx.Tx, l store.PickLot) error {
	return outbox.Add(ctx, tx, outbox.Event{
		Thing: "pick_lot", What: "stored", Aggregate: l.ID, Payload: &harvestv1.PickLotStored{PickLot: Message(l)},
	})
}
