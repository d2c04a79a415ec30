package rpc

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
)

const (
	// healthEvery is how often the checks run for those who Watch.
	healthEvery = 5 * time.Second
	// healthWithin is how long one round of checks may take.
	healthWithin = 2 * time.Second
)

// healthServer answers grpc.health.v1 from check functions. A Check runs them
// at once, so that its answer is never stale; a Watch is told within
// healthEvery. A name without checks of its own, the empty one among them,
// stands for all checks together.
type healthServer struct {
	*health.Server
	log  *slog.Logger
	stop context.CancelFunc
	over context.Context

	mu     sync.Mutex
	checks map[string][]func(context.Context) error
	failed map[string]bool
}

func newHealthServer(log *slog.Logger) *healthServer {
	over, stop := context.WithCancel(context.Background())
	h := &healthServer{
		Server: health.NewServer(), log: log, over: over, stop: stop,
		checks: map[string][]func(context.Context) error{"": nil},
		failed: map[string]bool{},
	}
	// Not before Serve: a probe must not send calls to half a server.
	h.SetServingStatus("", healthv1.HealthCheckResponse_NOT_SERVING)
	return h
}

// add makes the service's health depend on check as well; nil only makes the
// service known.
func (h *healthServer) add(service string, check func(context.Context) error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	checks := h.checks[service]
	if check != nil {
		checks = append(checks, check)
	}
	h.checks[service] = checks
}

// refresh runs every check once and sets every status.
func (h *healthServer) refresh(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, healthWithin)
	defer cancel()
	h.mu.Lock()
	defer h.mu.Unlock()
	all := true
	for service, checks := range h.checks {
		if len(checks) > 0 {
			good := h.run(ctx, service, checks)
			all = all && good
			h.SetServingStatus(service, serving(good))
		}
	}
	for service, checks := range h.checks {
		if len(checks) == 0 {
			h.SetServingStatus(service, serving(all))
		}
	}
}

// run runs the checks of one service and logs when its health turns.
func (h *healthServer) run(ctx context.Context, service string, checks []func(context.Context) error) bool {
	for _, check := range checks {
		if err := check(ctx); err != nil {
			if !h.failed[service] {
				h.log.WarnContext(ctx, "unhealthy", "service", service, "error", err)
			}
			h.failed[service] = true
			return false
		}
	}
	if h.failed[service] {
		h.log.InfoContext(ctx, "healthy again", "service", service)
	}
	h.failed[service] = false
	return true
}

func serving(good bool) healthv1.HealthCheckResponse_ServingStatus {
	if good {
		return healthv1.HealthCheckResponse_SERVING
	}
	return healthv1.HealthCheckResponse_NOT_SERVING
}

// loop refreshes until the server stops.
func (h *healthServer) loop() {
	ticker := time.NewTicker(healthEvery)
	defer ticker.Stop()
	for {
		select {
		case <-h.over.Done():
			return
		case <-ticker.C:
			h.refresh(h.over)
		}
	}
}

// Check runs the checks and answers from what they find.
func (h *healthServer) Check(ctx context.Context, req *healthv1.HealthCheckRequest) (*healthv1.HealthCheckResponse, error) {
	h.refresh(ctx)
	return h.Server.Check(ctx, req)
}

// Watch streams the status until the caller leaves or the server stops: an
// open watch must not hold up a graceful stop.
func (h *healthServer) Watch(req *healthv1.HealthCheckRequest, stream healthv1.Health_WatchServer) error {
	ctx, cancel := context.WithCancel(stream.Context())
	defer cancel()
	defer context.AfterFunc(h.over, cancel)()
	return h.Server.Watch(req, &watchStream{Health_WatchServer: stream, ctx: ctx})
}

type watchStream struct {
	healthv1.Health_WatchServer
	ctx context.Context
}

func (s *watchStream) Context() context.Context { return s.ctx }
