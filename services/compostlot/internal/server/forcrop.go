package server

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/compostlot/internal/members"
	"breakshare.example/services/compostlot/internal/store"
)

// RequestForCrop implements CompostLotService.
func (s *Server) RequestForCrop(ctx context.Context, req *compostlotv1.RequestForCropRequest) (*compostlotv1.CompostRequest, error) {
	if err := s.o.Members.Learn(ctx, members.Wanted{Crops: map[string]time.Time{req.GetCropId(): s.aboutDay(req.GetCropId())}}); err != nil {
		return nil, err
	}
	var asked []*compostlotv1.CompostRequest
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		crops, err := store.Crops(ctx, tx, []string{req.GetCropId()})
		if err != nil {
			return err
		}
		crop, ok := crops[req.GetCropId()]
		if !ok {
			return missing(ReasonUnknownCrop, "crop_id", "there is no crop %q: plan it in scheduling first, or correct the id", req.GetCropId())
		}
		if err := ownFarm(ctx, "crop_id", crop.FarmID); err != nil {
			return err
		}
		if crop.CompostGrams == 0 {
			return precondition(ReasonUnknownCrop, "crop_id", "crop %q takes no phased compost by its plan: there is nothing to ask for", crop.ID)
		}
		asked = []*compostlotv1.CompostRequest{requestOfCrop(crop, req)}
		return nil
	})
	if err != nil {
		return nil, err
	}
	rows, err := s.readRequests(ctx, asked, only(""))
	if err != nil {
		return nil, err
	}
	return once(ctx, s, req, &compostlotv1.CompostRequest{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.CompostRequest, error) {
		saved, err := s.saveRequests(ctx, tx, asked, rows, only(""))
		if err != nil {
			return nil, err
		}
		return saved[0], nil
	})
}

// aboutDay is a day near which to look for a crop: most ids end in the day of filling.
func (s *Server) aboutDay(cropID string) time.Time {
	const day = "20060102"
	if len(cropID) > len(day) {
		if d, err := time.Parse(day, cropID[len(cropID)-len(day):]); err == nil && d.Year() >= firstYear && d.Year() <= lastYear {
			return d
		}
	}
	return s.now()
}

// requestOfCrop asks for what the crop's fill needs, in whole kilograms.
func requestOfCrop(crop store.Crop, req *compostlotv1.RequestForCropRequest) *compostlotv1.CompostRequest {
	phases := append([]typev1.CompostPhase{typev1.CompostPhase(crop.Phase)}, req.GetOtherPhases()...)
	slices.Sort(phases)
	return &compostlotv1.CompostRequest{
		CompostRequestId: crop.ID, FarmId: crop.FarmID, RoomId: crop.RoomID, CropId: crop.ID,
		WantedKg: (crop.CompostGrams + gramsPerKg - 1) / gramsPerKg, SmallestUsefulKg: req.GetSmallestUsefulKg(), WholeFill: req.GetWholeFill(),
		EarliestDate: dateText(crop.FillDate.AddDate(0, 0, -int(req.GetDaysEarly()))),
		LatestDate:   dateText(crop.FillDate.AddDate(0, 0, int(req.GetDaysLate()))),
		Phases:       slices.Compact(phases),
	}
}
