package server

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/outbox"
)

// RecordPick records one weighing.
func (s *Server) RecordPick(ctx context.Context, req *harvestv1.RecordPickRequest) (*harvestv1.RecordPickResponse, error) {
	return once(ctx, s, req.GetRequestId(), req, &harvestv1.RecordPickResponse{},
		func(ctx context.Context, tx pgx.Tx, a *answers) (*harvestv1.RecordPickResponse, error) {
			done, err := s.record(ctx, tx, []*harvestv1.Pick{req.GetPick()}, func(int) string { return "pick" }, a)
			if err != nil {
				return nil, err
			}
			return &harvestv1.RecordPickResponse{Pick: done[0].GetPick(), PickLot: done[0].GetPickLot()}, nil
		})
}

// BatchRecordPicks records many weighings, all or none.
func (s *Server) BatchRecordPicks(ctx context.Context, req *harvestv1.BatchRecordPicksRequest) (*harvestv1.BatchRecordPicksResponse, error) {
	return once(ctx, s, req.GetRequestId(), req, &harvestv1.BatchRecordPicksResponse{},
		func(ctx context.Context, tx pgx.Tx, a *answers) (*harvestv1.BatchRecordPicksResponse, error) {
			done, err := s.record(ctx, tx, req.GetPicks(), func(i int) string { return fmt.Sprintf("picks[%d]", i) }, a)
			if err != nil {
				return nil, err
			}
			after := map[string]*harvestv1.PickLot{}
			for _, d := range done {
				after[d.GetPickLot().GetPickLotId()] = d.GetPickLot()
			}
			resp := &harvestv1.BatchRecordPicksResponse{}
			for _, code := range slices.Sorted(maps.Keys(after)) {
				resp.PickLots = append(resp.PickLots, after[code])
			}
			return resp, nil
		})
}

// record writes weighings and adds each to its lot. It returns what it told, in
// the order given. A held lot takes picks too: they were picked.
func (s *Server) record(ctx context.Context, tx pgx.Tx, list []*harvestv1.Pick, path func(int) string, a *answers) ([]*harvestv1.PickRecorded, error) {
	places := make([]place, len(list))
	for i, p := range list {
		places[i] = place{path(i), p.GetRoomId(), p.GetProductId(), p.GetDate()}
	}
	j, err := newJudge(ctx, tx, places, a)
	if err != nil {
		return nil, err
	}
	wanted := make([]store.PickLot, len(list))
	for i, p := range list {
		if p.GetTareGrams() >= p.GetGrossGrams() {
			j.refuse(path(i)+".tare_grams", "crates and pallet weigh %d g, all together %d g: tare must be less than gross", p.GetTareGrams(), p.GetGrossGrams())
		}
		wanted[i] = j.lot(places[i])
	}
	if err := j.verdict(); err != nil {
		return nil, err
	}
	open, err := openLots(ctx, tx, j.book, wanted)
	if err != nil {
		return nil, err
	}
	done := make([]*harvestv1.PickRecorded, len(list))
	picks := make([]store.Pick, len(list))
	for i, p := range list {
		code := lots.Code(wanted[i].RoomID, wanted[i].ProductID, wanted[i].Day)
		picks[i] = store.Pick{
			ID: ids.New(), LotID: code, Gross: p.GetGrossGrams(), Tare: p.GetTareGrams(), Crates: p.GetCrates(),
			Picker: p.GetPicker(), Break: p.BreakNumber, RecordedAt: s.clock.Now(), RecordedBy: caller(ctx),
		}
		l := open[code]
		l.Picks++
		l.NetGrams += picks[i].Net()
		l.Version++
		open[code] = l
		done[i] = &harvestv1.PickRecorded{Pick: pickMessage(p, picks[i]), PickLot: lots.Message(l)}
	}
	return done, saveRecorded(ctx, tx, picks, open, done)
}

func saveRecorded(ctx context.Context, tx pgx.Tx, picks []store.Pick, open map[string]store.PickLot, done []*harvestv1.PickRecorded) error {
	if err := store.AddPicks(ctx, tx, picks); err != nil {
		return err
	}
	for _, code := range slices.Sorted(maps.Keys(open)) {
		if err := store.SaveLot(ctx, tx, open[code]); err != nil {
			return err
		}
	}
	for _, d := range done {
		err := outbox.Add(ctx, tx, outbox.Event{Thing: "pick", What: "recorded", Aggregate: d.GetPickLot().GetPickLotId(), Payload: d})
		if err != nil {
			return err
		}
	}
	return nil
}

// pickMessage is a weighing as calls and events show it: as it was given, with
// what the service set.
func pickMessage(given *harvestv1.Pick, p store.Pick) *harvestv1.Pick {
	m := proto.CloneOf(given)
	m.PickId, m.RecordedAt = p.ID, timestamppb.New(p.RecordedAt)
	return m
}
