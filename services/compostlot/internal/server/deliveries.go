package server

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/members"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
)

// DeliverLot implements CompostLotService.
func (s *Server) DeliverLot(ctx context.Context, req *compostlotv1.DeliverLotRequest) (*compostlotv1.LotDelivery, error) {
	wanted := []*compostlotv1.NewDelivery{{
		LotId: req.GetLotId(), FarmId: req.GetFarmId(), RoomId: req.GetRoomId(), CropId: req.GetCropId(),
		DeliveredKg: req.GetDeliveredKg(), DeliveredAt: req.GetDeliveredAt(),
	}}
	if err := s.learnSpots(ctx, wanted, only("")); err != nil {
		return nil, err
	}
	return once(ctx, s, req, &compostlotv1.LotDelivery{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.LotDelivery, error) {
		delivered, err := s.deliver(ctx, tx, wanted, only(""))
		if err != nil {
			return nil, err
		}
		return delivered[0], nil
	})
}

// BatchDeliverLots implements CompostLotService.
func (s *Server) BatchDeliverLots(ctx context.Context, req *compostlotv1.BatchDeliverLotsRequest) (*compostlotv1.BatchDeliverLotsResponse, error) {
	if err := s.learnSpots(ctx, req.GetDeliveries(), list("deliveries")); err != nil {
		return nil, err
	}
	return once(ctx, s, req, &compostlotv1.BatchDeliverLotsResponse{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.BatchDeliverLotsResponse, error) {
		delivered, err := s.deliver(ctx, tx, req.GetDeliveries(), list("deliveries"))
		return &compostlotv1.BatchDeliverLotsResponse{Deliveries: delivered}, err
	})
}

// learnSpots makes sure that the farms, rooms and crops of deliveries are known.
func (s *Server) learnSpots(ctx context.Context, deliveries []*compostlotv1.NewDelivery, at place) error {
	crops := map[string]time.Time{}
	for i, d := range deliveries {
		when, err := instant(at(i)+"delivered_at", d.GetDeliveredAt())
		if err != nil {
			return err
		}
		if d.GetCropId() != "" {
			crops[d.GetCropId()] = when
		}
	}
	return s.o.Members.Learn(ctx, members.Wanted{
		Coop: true, Farms: ids(deliveries, (*compostlotv1.NewDelivery).GetFarmId),
		Rooms: ids(deliveries, (*compostlotv1.NewDelivery).GetRoomId), Crops: crops,
	})
}

// deliver makes deliveries in the order given.
func (s *Server) deliver(ctx context.Context, tx pgx.Tx, deliveries []*compostlotv1.NewDelivery, at place) ([]*compostlotv1.LotDelivery, error) {
	lots, err := lockLots(ctx, tx, deliveries, at)
	if err != nil {
		return nil, err
	}
	spots := convert(deliveries, func(d *compostlotv1.NewDelivery) spot {
		return spot{farm: d.GetFarmId(), room: d.GetRoomId(), crop: d.GetCropId(), past: true}
	})
	if err := checkPlaces(ctx, tx, spots, at); err != nil {
		return nil, err
	}
	zone, err := coopZone(ctx, tx)
	if err != nil {
		return nil, err
	}
	numbers, err := lastNumbers(ctx, tx, ids(deliveries, (*compostlotv1.NewDelivery).GetLotId))
	if err != nil {
		return nil, err
	}
	by, now := actor(ctx), s.now()
	rows, out := make([]store.Delivery, len(deliveries)), make([]*compostlotv1.LotDelivery, len(deliveries))
	for i, d := range deliveries {
		lot := lots[d.GetLotId()]
		when, err := instant(at(i)+"delivered_at", d.GetDeliveredAt())
		if err != nil {
			return nil, err
		}
		if err := deliverable(lot, d.GetDeliveredKg(), when, at(i)); err != nil {
			return nil, err
		}
		numbers[lot.ID]++
		y, m, day := when.In(zone).Date()
		rows[i] = store.Delivery{
			LotID: lot.ID, Number: numbers[lot.ID], FarmID: d.GetFarmId(), RoomID: d.GetRoomId(), CropID: d.GetCropId(),
			Kg: d.GetDeliveredKg(), At: when, Date: time.Date(y, m, day, 0, 0, 0, 0, time.UTC),
		}
		lot.RemainingKg -= d.GetDeliveredKg()
		lot.Change = lot.Next(by, now)
		if err := store.UpdateLot(ctx, tx, lot); err != nil {
			return nil, err
		}
		lots[lot.ID] = lot
		out[i] = deliveryMessage(rows[i])
		event := &compostlotv1.LotDelivered{Lot: lotMessage(lot), Delivery: out[i]}
		if err := tell(ctx, tx, "lot", "delivered", lot.ID, event); err != nil {
			return nil, err
		}
	}
	return out, store.InsertDeliveries(ctx, tx, rows, by, now)
}

// deliverable refuses what must not leave the yard.
func deliverable(lot store.Lot, kg int64, when time.Time, path string) error {
	switch {
	case lot.State == store.LotHeld:
		return precondition(ReasonHeld, path+"lot_id", "lot %q is held by %s: %s; nothing of it may be delivered", lot.ID, lot.HeldBy, lot.HoldReason)
	case lot.State != store.LotReleased:
		return precondition(ReasonNotReleased, path+"lot_id", "lot %q is not released: a named person releases it on evidence first", lot.ID)
	case kg > lot.RemainingKg:
		return precondition(ReasonLotShort, path+"delivered_kg", "%d kg is more than the %d kg that remain of lot %q: deliver less, or from another lot", kg, lot.RemainingKg, lot.ID)
	case when.Before(lot.StartedDate.AddDate(0, 0, -1)): // a day's grace for time zones
		return fault.InvalidField(path+"delivered_at", "%s lies before composting of lot %q began on %s", stamp(when), lot.ID, dateText(lot.StartedDate))
	}
	return nil
}

// coopZone is the time zone in which the co-op reads dates.
func coopZone(ctx context.Context, tx pgx.Tx) (*time.Location, error) {
	coop, known, err := store.FindCoop(ctx, tx)
	if err != nil {
		return nil, err
	}
	if !known {
		return nil, precondition(ReasonNoCoop, "coop", "the co-op's settings are not saved, so its time zone is not known: save them in scheduling first")
	}
	zone, err := time.LoadLocation(coop.TimeZone)
	if err != nil {
		return nil, precondition(ReasonNoCoop, "coop.time_zone", "the co-op's time zone %q is not known on this machine: correct it in scheduling", coop.TimeZone)
	}
	return zone, nil
}

// lastNumbers is the number of the last delivery of each lot.
func lastNumbers(ctx context.Context, tx pgx.Tx, lotIDs []string) (map[string]int32, error) {
	rows, err := store.ListDeliveries(ctx, tx, lotIDs)
	if err != nil {
		return nil, err
	}
	out := make(map[string]int32, len(lotIDs))
	for _, d := range rows {
		out[d.LotID] = max(out[d.LotID], d.Number)
	}
	return out, nil
}

func deliveryMessage(d store.Delivery) *compostlotv1.LotDelivery {
	return &compostlotv1.LotDelivery{
		DeliveryId: deliveryID(d), LotId: d.LotID, FarmId: d.FarmID, RoomId: d.RoomID, CropId: d.CropID,
		DeliveredKg: d.Kg, Date: dateText(d.Date), DeliveredAt: timestamppb.New(d.At),
	}
}
