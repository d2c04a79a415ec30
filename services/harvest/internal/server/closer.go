package server

import (
	"context"
	"log/slog"
	"time"

	"breakshare.example/services/platform/background"
)

// NewCloser returns a runner that closes days at the cut-off by itself; it looks every so often
// whether one is due. Several may run at once, in as many processes: a day is closed once.
func NewCloser(s *Server, log *slog.Logger, every time.Duration) *background.Runner {
	return background.New("closer of days", background.Every(every, func(ctx context.Context) {
		switch n, err := s.CloseDue(ctx); {
		case ctx.Err() != nil:
		case err != nil:
			log.ErrorContext(ctx, "a day could not be closed and stays open for now", "error", err)
		case n > 0:
			log.InfoContext(ctx, "closed the day of picking", "coops", n)
		}
	}))
}
