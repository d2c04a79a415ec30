package rpc

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/metric"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// instrumentation names this package as the origin of its metrics.
const instrumentation = "breakshare.example/services/platform/rpc"

// durationBounds are the histogram's bucket borders in seconds: fine around
// what a page waits for, coarse up to the longest calls.
var durationBounds = []float64{0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30}

// note is filled in by inner steps for the log line of the outer one.
type note struct {
	id    identity.Identity
	known bool
}

type noteKey struct{}

// noteIdentity tells the log line of this call who the caller is.
func noteIdentity(ctx context.Context, id identity.Identity) {
	if n, ok := ctx.Value(noteKey{}).(*note); ok {
		n.id, n.known = id, true
	}
}

// observer writes the log line and the metrics of each call.
type observer struct {
	log      *slog.Logger
	calls    metric.Int64Counter
	duration metric.Float64Histogram
}

func newObserver(log *slog.Logger, meters metric.MeterProvider) (*observer, error) {
	meter := meters.Meter(instrumentation)
	calls, err := meter.Int64Counter("breakshare.rpc.server.calls",
		metric.WithUnit("{call}"), metric.WithDescription("Calls answered, by method and gRPC code."))
	if err != nil {
		return nil, fmt.Errorf("make the call counter: %w", err)
	}
	duration, err := meter.Float64Histogram("breakshare.rpc.server.duration",
		metric.WithUnit("s"), metric.WithDescription("Time from receiving a call to answering it, by method and gRPC code."),
		metric.WithExplicitBucketBoundaries(durationBounds...))
	if err != nil {
		return nil, fmt.Errorf("make the call duration histogram: %w", err)
	}
	return &observer{log: log, calls: calls, duration: duration}, nil
}

// step observes one call. A panic on its way out is counted as Internal.
func (o *observer) step(ctx context.Context, c call, next func(context.Context) error) error {
	if isOpen(c.method) {
		return next(ctx)
	}
	n := &note{}
	start := time.Now()
	err := error(fault.New(fault.Internal, "", "the handler panicked"))
	defer func() { o.record(ctx, c, n, err, time.Since(start)) }()
	err = next(context.WithValue(ctx, noteKey{}, n))
	return err
}

func (o *observer) record(ctx context.Context, c call, n *note, err error, took time.Duration) {
	code := codes.OK
	if err != nil {
		code = fault.KindOf(err).Code()
	}
	set := metric.WithAttributeSet(attribute.NewSet(
		attribute.String("rpc.method", strings.TrimPrefix(c.method, "/")),
		attribute.String("rpc.response.status_code", code.String()),
	))
	// The call's own context may be over; that must not lose the count.
	o.calls.Add(context.WithoutCancel(ctx), 1, set)
	o.duration.Record(context.WithoutCancel(ctx), took.Seconds(), set)

	attrs := []slog.Attr{
		slog.String("method", c.method),
		slog.String("code", code.String()),
		slog.Duration("took", took),
	}
	if agent := metadata.ValueFromIncomingContext(ctx, "user-agent"); len(agent) > 0 {
		attrs = append(attrs, slog.String("from", agent[0]))
	}
	if n.known {
		// The log handler adds the co-op of the identity it finds.
		ctx = identity.With(ctx, n.id)
		attrs = append(attrs, slog.String("role", string(n.id.Role)))
	}
	if err != nil {
		attrs = append(attrs, slog.String("error", err.Error()))
	}
	o.log.LogAttrs(ctx, level(err), "call", attrs...)
}

// level: ours to mend is an error, a part down or slow is a warning, what the
// caller did wrong is worth a line, and success is for debugging.
func level(err error) slog.Level {
	if err == nil {
		return slog.LevelDebug
	}
	switch fault.KindOf(err) {
	case fault.Internal:
		return slog.LevelError
	case fault.Unavailable, fault.Deadline, fault.Exhausted:
		return slog.LevelWarn
	default:
		return slog.LevelInfo
	}
}
