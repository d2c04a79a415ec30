// Package subscriber owns what harvest does with the events of other services:
// each goes into harvest's own read model, where the highest version stays, and
// what follows for pick lots follows in the same transaction. An event that
// comes twice or late changes nothing.
package subscriber

import (
	"context"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/harvest/internal/told"
	"breakshare.example/services/platform/inbox"
)

// Sources returns the handlers for the events of each service that harvest
// listens to, by the service's name and the event's type.
func Sources() map[string]map[string]inbox.Handler {
	return map[string]map[string]inbox.Handler{
		"scheduling": scheduling(),
		"compostlot": compostlot(),
		"order":      order(),
	}
}

func scheduling() map[string]inbox.Handler {
	h := map[string]inbox.Handler{}
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, _ inbox.Message, e *schedulingv1.RoomSaved) error {
		return store.SaveRoom(ctx, tx, told.Room(e.GetRoom(), e.GetVersion()))
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, _ inbox.Message, e *schedulingv1.CoopSaved) error {
		if err := told.CheckZone(e.GetCoop().GetTimeZone()); err != nil {
			return inbox.Permanent(err)
		}
		return store.SaveCoop(ctx, tx, told.Coop(e))
	})
	onCrop[*schedulingv1.CropPlanned](h)
	onCrop[*schedulingv1.CropMoved](h)
	onCrop[*schedulingv1.CropStageReached](h)
	onCrop[*schedulingv1.CropEnded](h)
	return h
}

func order() map[string]inbox.Handler {
	h := map[string]inbox.Handler{}
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, _ inbox.Message, e *orderv1.ProductSaved) error {
		return store.SaveProduct(ctx, tx, told.Product(e.GetProduct(), e.GetVersion()))
	})
	inbox.Register(h, dispatched)
	return h
}

func compostlot() map[string]inbox.Handler {
	h := map[string]inbox.Handler{}
	onLot[*compostlotv1.LotOpened](h)
	onLot[*compostlotv1.LotReleased](h)
	onLot[*compostlotv1.LotHeld](h)
	inbox.Register(h, delivered)
	return h
}

// dispatched takes in what left of each lot: it is in no cold store any more.
func dispatched(ctx context.Context, tx pgx.Tx, _ inbox.Message, e *orderv1.Dispatched) error {
	type part struct{ lot, product string }
	packs := map[part]int64{}
	for _, l := range e.GetNote().GetLines() {
		packs[part{l.GetPickLotId(), l.GetProductId()}] += l.GetPacks()
	}
	for p, n := range packs {
		if n <= 0 || p.lot == "" {
			continue
		}
		if err := store.SaveDispatch(ctx, tx, e.GetNote().GetDispatchId(), p.lot, p.product, n); err != nil {
			return err
		}
	}
	return nil
}
