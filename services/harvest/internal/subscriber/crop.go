package subscriber

import (
	"context"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/harvest/internal/told"
	"breakshare.example/services/platform/inbox"
)

// onCrop registers the handler of an event that carries a crop after a change.
func onCrop[M interface {
	proto.Message
	GetCrop() *schedulingv1.Crop
}](h map[string]inbox.Handler) {
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, _ inbox.Message, e M) error {
		crop, err := told.Crop(e.GetCrop())
		if err != nil {
			return inbox.Permanent(err)
		}
		if err := store.LockTree(ctx, tx, true); err != nil {
			return err
		}
		rooms, err := store.SaveCrop(ctx, tx, crop)
		if err != nil {
			return err
		}
		return lots.Refresh(ctx, tx, rooms)
	})
}
