package server

import (
	"context"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// TraceBack returns where a pick lot comes from.
func (s *Server) TraceBack(ctx context.Context, req *harvestv1.TraceBackRequest) (*harvestv1.TraceBackResponse, error) {
	resp := &harvestv1.TraceBackResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		lot, ok, err := store.FindLot(ctx, tx, req.GetPickLotId())
		if err != nil {
			return err
		}
		if !ok {
			return noLot(req.GetPickLotId())
		}
		if err := checkFarm(ctx, "pick lot "+lot.ID, lot.FarmID); err != nil {
			return err
		}
		_, rooms, err := store.Reach(ctx, tx, []string{lot.RoomID})
		if err != nil {
			return err
		}
		book, err := store.Book(ctx, tx, rooms)
		if err != nil {
			return err
		}
		crop, ok := book.Crop(lot.Origin.CropID)
		if !ok { // crops are never deleted
			return fault.New(fault.Internal, "", "pick lot %s stands on crop %s, which is not there", lot.ID, lot.Origin.CropID)
		}
		resp.PickLot, resp.Crop = lots.Message(lot), cropTrace(book, crop)
		return nil
	})
	return resp, err
}

// TraceForward returns what came from a compost lot; to a grower, what of it is
// on the own farm.
func (s *Server) TraceForward(ctx context.Context, req *harvestv1.TraceForwardRequest) (*harvestv1.TraceForwardResponse, error) {
	resp := &harvestv1.TraceForwardResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		compost, ok, err := store.FindCompost(ctx, tx, req.GetCompostLotId())
		if err != nil {
			return err
		}
		if !ok {
			return fault.New(fault.NotFound, "NO_COMPOST_LOT", "harvest has not heard of compost lot %s: check the code; if the lot was opened just now, try again in a moment", req.GetCompostLotId())
		}
		if id := identity.Must(ctx); id.Role == identity.YardManager && id.YardID != compost.YardID {
			return fault.New(fault.Forbidden, ReasonNotYours, "compost lot %s was made by yard %s and you stand for yard %s: ask that yard or the coordinator", compost.ID, compost.YardID, id.YardID)
		}
		return forward(ctx, tx, compost, ownFarm(ctx), resp)
	})
	return resp, err
}

// forward fills the answer about a compost lot; of one farm only where farm is
// not empty.
func forward(ctx context.Context, tx pgx.Tx, compost genealogy.Compost, farm string, resp *harvestv1.TraceForwardResponse) error {
	rooms, err := store.CompostRooms(ctx, tx, compost.ID)
	if err != nil {
		return err
	}
	book, err := store.Book(ctx, tx, rooms)
	if err != nil {
		return err
	}
	var crops []string
	total := int64(0)
	for _, crop := range book.Forward(compost.ID) {
		if farm != "" && crop.FarmID != farm {
			continue
		}
		crops = append(crops, crop.ID)
		resp.Crops = append(resp.Crops, cropTrace(book, crop))
		for _, d := range book.Under(crop.ID) {
			if d.CompostID == compost.ID {
				total += d.Kilograms
			}
		}
	}
	resp.Compost = compostTrace(compost)
	resp.Compost.DeliveredKg = total
	list, err := store.LotsOfCrops(ctx, tx, crops)
	for _, l := range list {
		resp.PickLots = append(resp.PickLots, lots.Message(l))
	}
	return err
}

// cropTrace is a crop with the deliveries under it. A compost lot of which
// nobody has told yet shows its code alone.
func cropTrace(book *genealogy.Book, crop genealogy.Crop) *harvestv1.CropTrace {
	t := &harvestv1.CropTrace{CropId: crop.ID, RoomId: crop.RoomID, FarmId: crop.FarmID}
	for _, d := range book.Under(crop.ID) {
		lot, ok := book.Compost(d.CompostID)
		if !ok {
			lot.ID = d.CompostID
		}
		c := compostTrace(lot)
		c.DeliveredKg, c.DeliveredDate = d.Kilograms, d.Day.String()
		t.Compost = append(t.Compost, c)
	}
	return t
}

func compostTrace(c genealogy.Compost) *harvestv1.CompostTrace {
	return &harvestv1.CompostTrace{
		CompostLotId: c.ID, YardId: c.YardID, SlotId: c.SlotID,
		ReleasedBy: c.ReleasedBy, ExceptionReason: c.Exception, Held: c.Held,
	}
}
