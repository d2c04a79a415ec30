package server

import (
	"context"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/match"
)

// Ready says whether a confirmed match is ready to be rebalanced.
func (s *Server) Ready(coop, match string) bool { return s.sessions.has(confirmed{coop, match}.key()) }

// Solve is solve with another run in the place of the match's.
func (s *Server) Solve(ctx context.Context, run func(context.Context, match.Day, func(match.Step)) (match.Match, error), step func(orderv1.MatchStep) error) error {
	_, err := s.solve(ctx, run, match.Day{}, step)
	return err
}
