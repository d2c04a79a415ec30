package inbox

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// trouble is what a consumer remembers of a co-op whose next event failed. It
// lives in memory: a restart counts anew, which only delays a burial.
type trouble struct {
	what     string // the event's id, or the gap, that fails
	attempts int    // failures of its own
	failures int    // failures of any kind in a row; they set the pause
	until    time.Time
}

// count adds a failure of what and returns how many there were.
func (t *trouble) count(what string) int {
	if t.what != what {
		t.what, t.attempts = what, 0
	}
	t.attempts++
	return t.attempts
}

// pause notes a failure of any kind and returns how long the co-op waits.
func (t *trouble) pause(now time.Time, first, most time.Duration) time.Duration {
	t.failures++
	d := backoff(first, most, t.failures)
	t.until = now.Add(d)
	return d
}

// remaining returns how long the co-op still waits; nil waits for nothing.
func (t *trouble) remaining(now time.Time) time.Duration {
	if t == nil {
		return 0
	}
	return max(0, t.until.Sub(now))
}

// backoff returns the pause after the n-th failure in a row, n from 1: first,
// doubled for each further, at most most.
func backoff(first, most time.Duration, n int) time.Duration {
	d := first
	for i := 1; i < n && d < most; i++ {
		d *= 2
	}
	return min(d, most)
}

// outage says that something an event needs is down. It is no fault of the
// event's, so it is never buried for it.
type outage struct {
	what string
	err  error
}

func (o *outage) Error() string { return o.what + ": " + o.err.Error() }
func (o *outage) Unwrap() error { return o.err }

// wrongReplay says that an owner answered with another event than asked.
type wrongReplay struct {
	want int64
	got  Message
}

func (w *wrongReplay) Error() string {
	return fmt.Sprintf("asked for sequence %d, got event %s with sequence %d of %s", w.want, w.got.ID, w.got.Sequence, w.got.Source)
}

// isOutage tells a failure of the surroundings from one of the event: no
// connection, a server shutting down or out of resources, locks not to be had,
// another service that does not answer.
func isOutage(err error) bool {
	var o *outage
	var connect *pgconn.ConnectError
	var network net.Error
	switch {
	case errors.As(err, &o), errors.As(err, &connect), errors.As(err, &network), pgconn.SafeToRetry(err),
		errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, net.ErrClosed), errors.Is(err, context.DeadlineExceeded):
		return true
	}
	var pe *pgconn.PgError
	if errors.As(err, &pe) {
		return isOutageState(pe.Code)
	}
	code := status.Code(err)
	return code == codes.Unavailable || code == codes.DeadlineExceeded
}

// isOutageState sorts SQLSTATE codes by PostgreSQL's appendix A. 57014, a
// statement cancelled for its length, is the event's own.
func isOutageState(code string) bool {
	for _, class := range []string{
		"08",    // connection exception
		"40",    // transaction rollback: serialization, deadlock
		"53",    // insufficient resources
		"55P03", // lock not available
		"57P0",  // operator intervention: shutdown, starting up
		"58",    // system error
		"25006", // read only: a server that is no longer the primary
	} {
		if strings.HasPrefix(code, class) {
			return true
		}
	}
	return false
}
