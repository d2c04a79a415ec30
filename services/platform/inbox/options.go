package inbox

import (
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"breakshare.example/services/platform/bus"
)

// Options of a consumer. Service, Source, Pool, Bus and Replay are needed.
type Options struct {
	// Service is who consumes; Source is whose events. Both as in subjects.
	Service, Source string
	// Handlers by event type. An event without one moves the cursor on and is
	// recorded as skipped.
	Handlers map[string]Handler
	// Pool connects as the service's role.
	Pool *pgxpool.Pool
	// Bus has had Ensure called by somebody, or will have.
	Bus *bus.Bus
	// Replay asks the owner; see eventlog.Replay.
	Replay Replay
	// Log hears of every failure. Default slog.Default().
	Log *slog.Logger
	// MaxAttempts is how often an event is tried before it goes to the dead
	// letters. Default 8. Only failures of the event itself count; a database,
	// owner or bus that is down does not.
	MaxAttempts int
	// Backoff is the pause after the first failure; it doubles up to
	// MaxBackoff. Defaults 250 ms and 30 s.
	Backoff, MaxBackoff time.Duration
	// Fetch is the most messages taken from the bus at once. Default 64. They
	// must all be handled within AckWait.
	Fetch int
	// AckWait is after how long the bus delivers an unacknowledged message
	// again. Default 30 s.
	AckWait time.Duration
}

func (o Options) check() error {
	if err := bus.CheckService(o.Service); err != nil {
		return fmt.Errorf("inbox: %w", err)
	}
	if err := bus.CheckService(o.Source); err != nil {
		return fmt.Errorf("inbox: source: %w", err)
	}
	var missing error
	for name, absent := range map[string]bool{"Pool": o.Pool == nil, "Bus": o.Bus == nil, "Replay": o.Replay == nil} {
		if absent {
			missing = errors.Join(missing, fmt.Errorf("inbox: consumer of %s in %s: Options.%s is not set", o.Source, o.Service, name))
		}
	}
	return missing
}

func (o Options) withDefaults() Options {
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.MaxAttempts <= 0 {
		o.MaxAttempts = 8
	}
	if o.Backoff <= 0 {
		o.Backoff = 250 * time.Millisecond
	}
	if o.MaxBackoff <= 0 {
		o.MaxBackoff = 30 * time.Second
	}
	if o.Fetch <= 0 {
		o.Fetch = 64
	}
	if o.AckWait <= 0 {
		o.AckWait = 30 * time.Second
	}
	return o
}
