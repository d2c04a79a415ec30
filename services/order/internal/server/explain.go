package server

import (
	"context"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/identity"
)

// ExplainLine implements OrderService. It tells what was so when the match was run.
func (s *Server) ExplainLine(ctx context.Context, req *orderv1.ExplainLineRequest) (*orderv1.ExplainLineResponse, error) {
	resp := &orderv1.ExplainLineResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		order, err := orderByID(ctx, tx, req.GetOrderId())
		if err != nil {
			return err
		}
		if err := ownCustomer(identity.Must(ctx), order.Customer); err != nil {
			return err
		}
		head, found, err := store.MatchByID(ctx, tx, req.GetMatchId())
		if err != nil {
			return err
		}
		if !found {
			return notFound("match", req.GetMatchId())
		}
		m, err := store.WithRows(ctx, tx, head)
		if err != nil {
			return err
		}
		whole := matchOut(m)
		for _, l := range whole.GetLines() {
			if l.GetOrderId() == order.ID && l.GetProductId() == req.GetProductId() {
				resp.Line = l
			}
		}
		if resp.Line == nil {
			return notFound("line of match "+head.ID, order.ID+"/"+req.GetProductId())
		}
		for _, p := range whole.GetProducts() {
			if p.GetProductId() == req.GetProductId() {
				resp.Product = p
			}
		}
		for _, a := range whole.GetAllocations() {
			if a.GetOrderId() == order.ID && a.GetProductId() == req.GetProductId() {
				resp.Allocations = append(resp.Allocations, a)
			}
		}
		return nil
	})
	return resp, err
}
