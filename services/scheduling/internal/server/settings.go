package server

import (
	"context"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
	"breakshare.example/services/scheduling/internal/store"
)

// SavePlanningSettings creates or changes what the fill planner reckons with.
func (s *Server) SavePlanningSettings(ctx context.Context, req *schedulingv1.SavePlanningSettingsRequest) (*schedulingv1.PlanningSettings, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.PlanningSettings{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.PlanningSettings, error) {
		return s.saveSettings(ctx, tx, req.GetSettings())
	})
}

// GetPlanningSettings returns them; empty before the first save.
func (s *Server) GetPlanningSettings(ctx context.Context, _ *schedulingv1.GetPlanningSettingsRequest) (*schedulingv1.PlanningSettings, error) {
	var answer *schedulingv1.PlanningSettings
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		var err error
		answer, _, _, err = settings(ctx, tx)
		return err
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

// settings reads the planner's settings with their etag; an empty message before
// the first save.
func settings(ctx context.Context, db pg.DB) (*schedulingv1.PlanningSettings, store.Change, bool, error) {
	out := &schedulingv1.PlanningSettings{}
	row, ok, err := store.GetSettings(ctx, db)
	if err != nil || !ok {
		return out, store.Change{}, false, err
	}
	if err := proto.Unmarshal(row.Message, out); err != nil {
		return nil, store.Change{}, false, err
	}
	out.Etag = etag(row.Version)
	return out, row.Change, true, nil
}

func (s *Server) saveSettings(ctx context.Context, tx pgx.Tx, in *schedulingv1.PlanningSettings) (*schedulingv1.PlanningSettings, error) {
	at := element("settings.products")
	if err := onceEach(in.GetProducts(), (*schedulingv1.ProductCost).GetProductId, at, "product_id"); err != nil {
		return nil, err
	}
	products, err := store.ListProducts(ctx, tx, "")
	if err != nil {
		return nil, err
	}
	known := map[string]bool{}
	for _, p := range products {
		known[p.ID] = true
	}
	for i, p := range in.GetProducts() {
		if !known[p.GetProductId()] {
			return nil, unknown("PRODUCT", p.GetProductId(), at(i)+".product_id", "the order service has told of no such product")
		}
	}
	old, last, found, err := settings(ctx, tx)
	if err != nil {
		return nil, err
	}
	next := proto.CloneOf(in)
	next.Etag = old.GetEtag()
	save := saving.Save{Thing: "planning settings", Path: "settings", Etag: in.GetEtag(), Found: found, Equal: proto.Equal(next, old), Last: last}
	write, err := save.Decide()
	if err != nil {
		return nil, err
	}
	if !write {
		return old, nil
	}
	next.Etag = ""
	text, err := proto.MarshalOptions{Deterministic: true}.Marshal(next)
	if err != nil {
		return nil, err
	}
	row := store.Settings{Message: text, Change: s.change(ctx, last.Version+1)}
	if ok, err := store.PutSettings(ctx, tx, identity.Must(ctx).CoopID, row); err != nil {
		return nil, err
	} else if !ok {
		return nil, saving.Raced(save.Thing)
	}
	next.Etag = etag(row.Version)
	return next, nil
}
