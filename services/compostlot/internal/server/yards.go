package server

import (
	"context"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/saving"
)

// SaveYard implements CompostLotService.
func (s *Server) SaveYard(ctx context.Context, req *compostlotv1.SaveYardRequest) (*compostlotv1.Yard, error) {
	return once(ctx, s, req, &compostlotv1.Yard{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.Yard, error) {
		saved, err := s.saveYards(ctx, tx, []*compostlotv1.Yard{req.GetYard()}, only("yard"))
		if err != nil {
			return nil, err
		}
		return saved[0], nil
	})
}

// BatchSaveYards implements CompostLotService.
func (s *Server) BatchSaveYards(ctx context.Context, req *compostlotv1.BatchSaveYardsRequest) (*compostlotv1.BatchSaveYardsResponse, error) {
	return once(ctx, s, req, &compostlotv1.BatchSaveYardsResponse{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.BatchSaveYardsResponse, error) {
		saved, err := s.saveYards(ctx, tx, req.GetYards(), list("yards"))
		return &compostlotv1.BatchSaveYardsResponse{Yards: saved}, err
	})
}

func (s *Server) saveYards(ctx context.Context, tx pgx.Tx, yards []*compostlotv1.Yard, at place) ([]*compostlotv1.Yard, error) {
	if err := noDuplicates(len(yards), func(i int) string { return yards[i].GetYardId() }, at, "yard_id"); err != nil {
		return nil, err
	}
	known, err := store.LockYards(ctx, tx, ids(yards, (*compostlotv1.Yard).GetYardId))
	if err != nil {
		return nil, err
	}
	by, now := actor(ctx), s.now()
	out := make([]*compostlotv1.Yard, len(yards))
	var created, updated []store.Yard
	for i, y := range yards {
		if err := ownYard(ctx, at(i)+"yard_id", y.GetYardId()); err != nil {
			return nil, err
		}
		row := store.Yard{ID: y.GetYardId(), Name: y.GetName(), Place: y.GetPlace()}
		old, exists := known[row.ID]
		row.Change = old.Next(by, now)
		switch {
		case !exists && y.GetEtag() != "":
			return nil, missing(ReasonUnknownYard, at(i)+"etag", "there is no yard %q: leave the etag empty to create it", row.ID)
		case !exists:
			created = append(created, row)
		case y.GetEtag() == "" && old.Name == row.Name && old.Place == row.Place:
			row = old
		case y.GetEtag() != saving.Etag(old.Version):
			return nil, changed(at(i), "yard "+row.ID, old.Change)
		default:
			updated = append(updated, row)
		}
		out[i] = yardMessage(row)
	}
	if err := store.InsertYards(ctx, tx, created); err != nil {
		return nil, err
	}
	return out, store.UpdateYards(ctx, tx, updated)
}

// ListYards implements CompostLotService.
func (s *Server) ListYards(ctx context.Context, _ *compostlotv1.ListYardsRequest) (*compostlotv1.ListYardsResponse, error) {
	resp := &compostlotv1.ListYardsResponse{}
	return resp, s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := store.ListYards(ctx, tx)
		resp.Yards = convert(rows, yardMessage)
		return err
	})
}

func yardMessage(y store.Yard) *compostlotv1.Yard {
	return &compostlotv1.Yard{YardId: y.ID, Name: y.Name, Place: y.Place, Etag: saving.Etag(y.Version)}
}
