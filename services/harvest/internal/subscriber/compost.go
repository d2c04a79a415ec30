package subscriber

import (
	"context"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/harvest/internal/told"
	"breakshare.example/services/platform/inbox"
)

// onLot registers the handler of an event that carries a compost lot after a
// change. Whether the lot is held, free or an exception goes at once to every
// pick lot of the crops on it.
func onLot[M interface {
	proto.Message
	GetLot() *compostlotv1.Lot
}](h map[string]inbox.Handler) {
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, _ inbox.Message, e M) error {
		if err := store.LockTree(ctx, tx, true); err != nil {
			return err
		}
		rooms, err := store.SaveCompost(ctx, tx, told.Compost(e.GetLot()))
		if err != nil {
			return err
		}
		return lots.Refresh(ctx, tx, rooms)
	})
}

// delivered takes in a delivery, and the state of the lot with it.
func delivered(ctx context.Context, tx pgx.Tx, _ inbox.Message, e *compostlotv1.LotDelivered) error {
	delivery, err := told.Delivery(e.GetDelivery())
	if err != nil {
		return inbox.Permanent(err)
	}
	if err := store.LockTree(ctx, tx, true); err != nil {
		return err
	}
	if err := store.SaveDelivery(ctx, tx, delivery); err != nil {
		return err
	}
	if _, err := store.SaveCompost(ctx, tx, told.Compost(e.GetLot())); err != nil {
		return err
	}
	rooms, err := store.CompostRooms(ctx, tx, delivery.CompostID)
	if err != nil {
		return err
	}
	return lots.Refresh(ctx, tx, rooms)
}
