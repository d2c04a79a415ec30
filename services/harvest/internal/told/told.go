// Package told owns how harvest reads what other services tell, in events and
// in answers: their messages into harvest's own rows.
package told

import (
	"fmt"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/harvest/internal/store"
)

// Room reads a room; version is that of its event, or 0 for an answer.
func Room(r *schedulingv1.Room, version int64) store.Room {
	return store.Room{ID: r.GetRoomId(), FarmID: r.GetFarmId(), AreaM2: r.GetAreaM2(), Name: r.GetName(), Version: version}
}

// Product reads a product; version is that of its event, or 0 for an answer.
func Product(p *orderv1.Product, version int64) store.Product {
	return store.Product{
		ID: p.GetProductId(), Species: p.GetSpecies(), PickStage: stageWords[p.GetPickStage()], Grade: p.GetGrade(),
		PackGrams: p.GetPackGrams(), PackValue: p.GetPackValueMinor(), Version: version,
	}
}

// Crop reads a crop. It fails on a date that is none: a first pick may be
// missing, and is then taken to be the day of filling.
func Crop(c *schedulingv1.Crop) (store.Crop, error) {
	fill, err := day.Parse(c.GetFillDate())
	if err != nil {
		return store.Crop{}, fmt.Errorf("crop %s: fill date: %w", c.GetCropId(), err)
	}
	free, err := day.Parse(c.GetFreeDate())
	if err != nil {
		return store.Crop{}, fmt.Errorf("crop %s: free date: %w", c.GetCropId(), err)
	}
	first := fill
	if text := c.GetFirstPickDate(); text != "" {
		if first, err = day.Parse(text); err != nil {
			return store.Crop{}, fmt.Errorf("crop %s: first pick date: %w", c.GetCropId(), err)
		}
	}
	state := c.GetState()
	steps, err := steps(c)
	if err != nil {
		return store.Crop{}, err
	}
	return store.Crop{
		AreaM2: c.GetAreaM2(), ProgrammeID: c.GetProgrammeId(), ProgrammeVersion: c.GetProgrammeVersion(),
		Steps: steps, Profile: profile(c),
		Crop: genealogy.Crop{
			ID: c.GetCropId(), RoomID: c.GetRoomId(), FarmID: c.GetFarmId(), Species: c.GetSpecies(),
			Fill: fill, FirstPick: first, Free: free,
			Filled: state == schedulingv1.CropState_CROP_STATE_RUNNING || state == schedulingv1.CropState_CROP_STATE_ENDED,
			Ended:  state == schedulingv1.CropState_CROP_STATE_ENDED,
		},
		Version: c.GetVersion(),
	}, nil
}

// Compost reads a compost lot.
func Compost(l *compostlotv1.Lot) store.Compost {
	return store.Compost{
		Compost: genealogy.Compost{
			ID: l.GetLotId(), YardID: l.GetYardId(), SlotID: l.GetSlotId(),
			ReleasedBy: l.GetReleasedBy(), Exception: l.GetExceptionReason(),
			Held: l.GetState() == compostlotv1.LotState_LOT_STATE_HELD, HoldReason: l.GetHoldReason(),
		},
		Version: l.GetVersion(),
	}
}

// Delivery reads a delivery. It fails on a date that is none.
func Delivery(d *compostlotv1.LotDelivery) (genealogy.Delivery, error) {
	on, err := day.Parse(d.GetDate())
	if err != nil {
		return genealogy.Delivery{}, fmt.Errorf("delivery %s: %w", d.GetDeliveryId(), err)
	}
	return genealogy.Delivery{
		ID: d.GetDeliveryId(), CompostID: d.GetLotId(), RoomID: d.GetRoomId(), CropID: d.GetCropId(),
		Kilograms: d.GetDeliveredKg(), Day: on,
	}, nil
}
