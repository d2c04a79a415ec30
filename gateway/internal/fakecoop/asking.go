package fakecoop

import (
	"context"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
)

func (l *compostlot) RequestForCrop(_ context.Context, req *compostlotv1.RequestForCropRequest) (*compostlotv1.CompostRequest, error) {
	return once(l.c, "RequestForCrop", req, func() (*compostlotv1.CompostRequest, error) {
		for _, crop := range l.c.Crops {
			if crop.GetCropId() != req.GetCropId() {
				continue
			}
			if req.GetSmallestUsefulKg() > crop.GetCompostGrams()/1000 {
				return nil, fault.InvalidField("smallest_useful_kg", "is more than the crop needs")
			}
			asked := &compostlotv1.CompostRequest{
				CompostRequestId: "for-" + crop.GetCropId(), FarmId: crop.GetFarmId(), RoomId: crop.GetRoomId(), CropId: crop.GetCropId(),
				WantedKg: crop.GetCompostGrams() / 1000, EarliestDate: crop.GetFillDate(), LatestDate: crop.GetFillDate(), WholeFill: req.GetWholeFill(),
			}
			l.c.Requests = append(l.c.Requests, asked)
			return asked, nil
		}
		return nil, notFound("crop", req.GetCropId())
	})
}

// WhatIfWider gives a request 26 t where its days go beyond 10 December, else 18 t.
func (l *compostlot) WhatIfWider(_ context.Context, req *compostlotv1.WhatIfWiderRequest) (*compostlotv1.Share, error) {
	return read(l.c, "WhatIfWider", func() (*compostlotv1.Share, error) {
		for _, r := range l.c.Requests {
			if r.GetCompostRequestId() != req.GetCompostRequestId() {
				continue
			}
			share := &compostlotv1.Share{CompostRequestId: r.GetCompostRequestId(), WantedKg: r.GetWantedKg(), GrantedKg: 18_000, Explanation: "Every slot inside the window is full."}
			if req.GetLatestDate() > "2026-12-10" {
				share.GrantedKg, share.Slots = 26_000, []*compostlotv1.ShareSlot{{SlotId: "quarry-end-20261207", GrantedKg: 26_000}}
			}
			return share, nil
		}
		return nil, notFound("request", req.GetCompostRequestId())
	})
}
