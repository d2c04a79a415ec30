// Package subscriber owns how scheduling's events become this service's read
// model of the co-op's settings, farms, rooms and crops. Each row keeps the
// newest version: an event that comes late or twice changes nothing.
package subscriber

import (
	"context"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/compostlot/internal/members"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/inbox"
)

// Source is the service whose events are taken in.
const Source = "scheduling"

// Handlers returns what to do with each event.
func Handlers() map[string]inbox.Handler {
	h := map[string]inbox.Handler{}
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, _ inbox.Message, e *schedulingv1.CoopSaved) error {
		return store.SaveCoop(ctx, tx, members.Coop(e.GetCoop(), e.GetVersion()))
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, _ inbox.Message, e *schedulingv1.FarmSaved) error {
		return store.SaveFarms(ctx, tx, members.Farm(e.GetFarm(), e.GetVersion()))
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, _ inbox.Message, e *schedulingv1.RoomSaved) error {
		return store.SaveRooms(ctx, tx, members.Room(e.GetRoom(), e.GetVersion()))
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, _ inbox.Message, e *schedulingv1.CropPlanned) error {
		return saveCrop(ctx, tx, e.GetCrop())
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, _ inbox.Message, e *schedulingv1.CropMoved) error {
		return saveCrop(ctx, tx, e.GetCrop())
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, _ inbox.Message, e *schedulingv1.CropStageReached) error {
		return saveCrop(ctx, tx, e.GetCrop())
	})
	inbox.Register(h, func(ctx context.Context, tx pgx.Tx, _ inbox.Message, e *schedulingv1.CropEnded) error {
		return saveCrop(ctx, tx, e.GetCrop())
	})
	return h
}

// saveCrop keeps the crop. One without a fill date will not get one by trying again.
func saveCrop(ctx context.Context, tx pgx.Tx, c *schedulingv1.Crop) error {
	row, err := members.Crop(c, c.GetVersion())
	if err != nil {
		return inbox.Permanent(err)
	}
	return store.SaveCrops(ctx, tx, row)
}
