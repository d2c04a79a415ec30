package subscriber

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/inbox"
)

func cropPlanned(ctx context.Context, tx pgx.Tx, m inbox.Message, e *schedulingv1.CropPlanned) error {
	return keepCropNeed(ctx, tx, m, e.GetCrop())
}

func cropMoved(ctx context.Context, tx pgx.Tx, m inbox.Message, e *schedulingv1.CropMoved) error {
	return keepCropNeed(ctx, tx, m, e.GetCrop())
}

func cropStageReached(ctx context.Context, tx pgx.Tx, m inbox.Message, e *schedulingv1.CropStageReached) error {
	return keepCropNeed(ctx, tx, m, e.GetCrop())
}

func cropEnded(ctx context.Context, tx pgx.Tx, m inbox.Message, e *schedulingv1.CropEnded) error {
	return keepCropNeed(ctx, tx, m, e.GetCrop())
}

// keepCropNeed keeps what a crop still needs: spawn until it is spawned, casing until it is cased,
// and nothing once it has ended. Grams are those that scheduling reckoned from the programme's rates
// and the area of the room.
func keepCropNeed(ctx context.Context, tx pgx.Tx, m inbox.Message, c *schedulingv1.Crop) error {
	if c.GetCropId() == "" || c.GetFarmId() == "" || c.GetVersion() < 1 {
		return inbox.Permanent(fmt.Errorf("event %s (%s) needs crop, farm and version: has %q, %q, %d", m.ID, m.Type, c.GetCropId(), c.GetFarmId(), c.GetVersion()))
	}
	n := store.CropNeed{
		Crop: c.GetCropId(), Room: c.GetRoomId(), Farm: c.GetFarmId(), Species: c.GetSpecies(), Strain: c.GetStrain(),
		SpawnGrams: c.GetSpawnGrams(), CasingGrams: c.GetCasingGrams(), Version: c.GetVersion(),
	}
	if c.GetState() != schedulingv1.CropState_CROP_STATE_ENDED {
		var err error
		if n.SpawnDate, err = ahead(m, c, schedulingv1.StageKind_STAGE_KIND_SPAWNING); err != nil {
			return err
		}
		if n.CasingDate, err = ahead(m, c, schedulingv1.StageKind_STAGE_KIND_CASING); err != nil {
			return err
		}
	}
	return store.KeepCropNeed(ctx, tx, n)
}

// ahead is the day on which a step of the crop is to begin; nil where it has none, and where it, or
// a step after it, has begun.
func ahead(m inbox.Message, c *schedulingv1.Crop, kind schedulingv1.StageKind) (*string, error) {
	var date *string
	for _, s := range c.GetStages() {
		if s.GetKind() == kind {
			if _, err := time.Parse(time.DateOnly, s.GetStartDate()); err != nil {
				return nil, inbox.Permanent(fmt.Errorf("event %s (%s) has no day for %s of crop %q: %q", m.ID, m.Type, kind, c.GetCropId(), s.GetStartDate()))
			}
			date = &s.StartDate
		}
		if date != nil && s.ActualStartDate != nil {
			return nil, nil
		}
	}
	return date, nil
}
