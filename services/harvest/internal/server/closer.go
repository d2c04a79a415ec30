package server

import (
	"context"
	"log/slog"
	"time"
)

// Closer closes days at the cut-off by itself. Several may run at once, in as
// many processes: a day is closed once.
type Closer struct {
	server  *Server
	log     *slog.Logger
	every   time.Duration
	started chan struct{}
	cancel  context.CancelFunc
	done    chan struct{}
}

// NewCloser looks every so often whether a day is due.
func NewCloser(s *Server, log *slog.Logger, every time.Duration) *Closer {
	return &Closer{server: s, log: log, every: every, started: make(chan struct{}), done: make(chan struct{})}
}

// Start begins to look, and returns at once.
func (c *Closer) Start(ctx context.Context) error {
	ctx, c.cancel = context.WithCancel(ctx)
	go func() {
		defer close(c.done)
		tick := time.NewTicker(c.every)
		defer tick.Stop()
		close(c.started)
		for {
			switch n, err := c.server.CloseDue(ctx); {
			case ctx.Err() != nil:
				return
			case err != nil:
				c.log.ErrorContext(ctx, "a day could not be closed and stays open for now", "error", err)
			case n > 0:
				c.log.InfoContext(ctx, "closed the day of picking", "coops", n)
			}
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
			}
		}
	}()
	return nil
}

// Started is closed once it looks.
func (c *Closer) Started() <-chan struct{} { return c.started }

// Stop ends it.
func (c *Closer) Stop(ctx context.Context) error {
	c.cancel()
	select {
	case <-c.done:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
