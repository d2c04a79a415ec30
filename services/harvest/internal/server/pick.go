package server

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/harvest/internal/told"
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
	j, err := s.newJudge(ctx, tx, places, a)
	if err != nil {
		return nil, err
	}
	stores, err := store.ColdStores(ctx, tx, "")
	if err != nil {
		return nil, err
	}
	wanted := make([]store.PickLot, len(list))
	for i, p := range list {
		j.judgeWeights(path(i), p)
		wanted[i] = j.lot(places[i])
		j.judgeStore(path(i), p.GetStoreId(), wanted[i].FarmID, stores)
	}
	if err := j.verdict(); err != nil {
		return nil, err
	}
	opened, err := openLots(ctx, tx, j.facts.Book, wanted)
	if err != nil {
		return nil, err
	}
	open := opened.Lots
	propose, err := s.proposals(ctx, tx, j, list, wanted)
	if err != nil {
		return nil, err
	}
	done := make([]*harvestv1.PickRecorded, len(list))
	picks := make([]store.Pick, len(list))
	for i, p := range list {
		code := lots.Code(wanted[i].RoomID, wanted[i].ProductID, wanted[i].Day)
		picks[i] = s.weighed(ctx, p, code)
		if n := propose(i); n != nil {
			picks[i].Break, picks[i].BreakProposed = n, true
		}
		l := open[code]
		l.Picks++
		l.NetGrams += picks[i].Net()
		l.Version++
		if l.PickedAt == nil {
			l.PickedAt = &picks[i].RecordedAt
		}
		if p.GetStoreId() != "" {
			l.StoreID = p.GetStoreId()
		}
		open[code] = l
		done[i] = &harvestv1.PickRecorded{Pick: pickMessage(picks[i], l), PickLot: lots.Message(l)}
	}
	return done, saveRecorded(ctx, tx, picks, open, done)
}

// weighed is a weighing as it is stored.
func (s *Server) weighed(ctx context.Context, p *harvestv1.Pick, code string) store.Pick {
	out := store.Pick{
		ID: ids.New(), LotID: code, Gross: p.GetGrossGrams(), Tare: p.GetTareGrams(), Crates: p.GetCrates(),
		Picker: p.GetPicker(), Break: p.BreakNumber, StoreID: p.GetStoreId(), RecordedAt: s.clock.Now(), RecordedBy: caller(ctx),
	}
	for _, part := range p.GetParts() {
		out.Parts = append(out.Parts, store.Part{Stage: told.PickStageWord(part.GetPickStage()), Grade: part.GetGrade(), Grams: part.GetGrams()})
	}
	return out
}

// judgeWeights refuses weights that contradict one another.
func (j *judge) judgeWeights(path string, p *harvestv1.Pick) {
	if p.GetTareGrams() >= p.GetGrossGrams() {
		j.refuse(path+".tare_grams", "crates and pallet weigh %d g, all together %d g: tare must be less than gross", p.GetTareGrams(), p.GetGrossGrams())
		return
	}
	var parts int64
	for _, part := range p.GetParts() {
		parts += part.GetGrams()
	}
	if net := p.GetGrossGrams() - p.GetTareGrams(); parts > net {
		j.refuse(path+".parts", "the parts weigh %d g together, the mushrooms %d g: parts are of the net weight", parts, net)
	}
}

// judgeStore refuses a cold store that the farm does not have.
func (j *judge) judgeStore(path, storeID, farmID string, stores []store.ColdStore) {
	if storeID == "" || farmID == "" {
		return
	}
	if !slices.ContainsFunc(stores, func(c store.ColdStore) bool { return c.ID == storeID && c.FarmID == farmID }) {
		j.refuse(path+".store_id", "farm %s has no cold store %s: take one from its list, or save it first", farmID, storeID)
	}
}

// proposals tells, for each weighing without a break number, which break the
// crop's curve puts it to; nil where the curve says none.
func (s *Server) proposals(ctx context.Context, tx pgx.Tx, j *judge, list []*harvestv1.Pick, wanted []store.PickLot) (func(i int) *int32, error) {
	crops := map[string]store.Crop{}
	first := map[string]day.Date{}
	last := map[string]day.Date{}
	of := make([]string, len(list))
	for i, p := range list {
		crop, ok := j.facts.Book.CropOn(wanted[i].RoomID, wanted[i].Day)
		known := j.facts.Crops[crop.ID]
		if p.BreakNumber != nil || !ok || known.Profile == nil {
			continue
		}
		on := wanted[i].Day
		if _, seen := crops[crop.ID]; !seen {
			crops[crop.ID], first[crop.ID], last[crop.ID] = known, on, on
		}
		of[i], first[crop.ID], last[crop.ID] = crop.ID, min(first[crop.ID], on), max(last[crop.ID], on)
	}
	curves := map[string]fan{}
	for _, id := range slices.Sorted(maps.Keys(crops)) {
		made, _, err := s.fans(ctx, tx, []store.Crop{crops[id]}, first[id], min(last[id].Sub(first[id])+1, longestFan))
		if err != nil {
			return nil, err
		}
		if len(made) == 1 { // a crop that cannot be forecast proposes nothing
			curves[id] = made[0]
		}
	}
	return func(i int) *int32 {
		f, ok := curves[of[i]]
		if !ok {
			return nil
		}
		d, ok := f.at(wanted[i].Day)
		if !ok || d.Break == 0 {
			return nil
		}
		n := int32(d.Break)
		return &n
	}, nil
}

// longestFan is how many days a curve is drawn for at most.
const longestFan = 120

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

// pickMessage is a weighing of a lot as calls and events show it.
func pickMessage(p store.Pick, l store.PickLot) *harvestv1.Pick {
	m := &harvestv1.Pick{
		PickId: p.ID, RoomId: l.RoomID, ProductId: l.ProductID, Date: l.Day.String(), GrossGrams: p.Gross, TareGrams: p.Tare,
		Crates: p.Crates, Picker: p.Picker, BreakNumber: p.Break, BreakProposed: p.BreakProposed, StoreId: p.StoreID,
		RecordedAt: timestamppb.New(p.RecordedAt), RecordedBy: p.RecordedBy, CorrectionReason: p.CorrectionReason,
	}
	if p.CorrectsID != nil {
		m.CorrectsPickId = *p.CorrectsID
	}
	for _, part := range p.Parts {
		m.Parts = append(m.Parts, &harvestv1.PickPart{PickStage: told.PickStage(part.Stage), Grade: part.Grade, Grams: part.Grams})
	}
	return m
}
