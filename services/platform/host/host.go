// Package host owns the life of one service in a process: what its Bind is
// given, what it starts, and that all of it is stopped in reverse. Several
// hosts, each with its own server and listener, live side by side in one
// process, and each can be stopped and started alone.
package host

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"

	"go.opentelemetry.io/otel/metric"
	"google.golang.org/grpc"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/eventlog"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/rpc"
)

// Host is what a service's Bind gets: everything from outside that it may
// use. Make it as a literal; do not copy it after.
type Host struct {
	Log         *slog.Logger
	Clock       clock.Clock
	Tokens      *identity.Tokens
	PostgresURL string // of a role that may create schemas and roles
	Bus         *bus.Bus
	Registrar   grpc.ServiceRegistrar
	// Dial gives the connection to another service, by its short name
	// ("harvest"). It is shared: do not close it.
	Dial func(service string) (*grpc.ClientConn, error)
	// PauseRelay leaves committed events unpublished, for tests.
	PauseRelay bool
	// Instruments says that instruments publish readings on the bus: a service
	// that takes some listens to them.
	Instruments bool
	// Meter measures the pools; nil is the process-wide provider.
	Meter metric.MeterProvider

	eventLog *eventlog.Server // of the service's store; nil before there is one

	mu       sync.Mutex
	policy   rpc.Policy
	closers  []func(context.Context) error
	failed   error
	lifetime context.Context
	end      context.CancelFunc
	closed   bool
	done     chan struct{}
	closeErr error
}

// Runner is a part that works in the background: a relay, a consumer. Start
// returns at once; what it starts ends with Stop or with the context.
type Runner interface {
	Start(ctx context.Context) error
	Started() <-chan struct{}
	Stop(ctx context.Context) error
}

// OnClose has fn called by Close, before whatever was handed in earlier. On a
// closed host fn is called at once.
func (h *Host) OnClose(fn func(context.Context) error) {
	h.mu.Lock()
	if !h.closed {
		h.closers = append(h.closers, fn)
		h.mu.Unlock()
		return
	}
	h.mu.Unlock()
	if err := fn(context.Background()); err != nil {
		h.Log.Error("close a part of a closed host", "error", err)
	}
}

// Run starts r, which lives until Close, and stops it there. The error of a
// start is returned and also kept, so that a service whose part did not start
// does not come up. A consumer is also shown to the operator, by the event log.
func (h *Host) Run(r Runner) error {
	if c, ok := r.(*inbox.Consumer); ok && h.eventLog != nil {
		h.eventLog.Watch(c)
	}
	if err := r.Start(h.context()); err != nil {
		err = fmt.Errorf("start %T: %w", r, err)
		h.mu.Lock()
		h.failed = errors.Join(h.failed, err)
		h.mu.Unlock()
		return err
	}
	h.OnClose(r.Stop)
	return nil
}

// context is the host's own: it outlives Bind's, and ends after Close.
func (h *Host) context() context.Context {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.lifetime == nil {
		h.lifetime, h.end = context.WithCancel(context.Background())
	}
	return h.lifetime
}

// AddPolicy says who may call the methods the service registers.
func (h *Host) AddPolicy(p rpc.Policy) {
	h.mu.Lock()
	if h.policy == nil {
		h.policy = rpc.Policy{}
	}
	for method, roles := range p {
		h.policy[method] = roles
	}
	h.mu.Unlock()
	if server, ok := h.Registrar.(interface{ AddPolicy(rpc.Policy) }); ok {
		server.AddPolicy(p)
	}
}

// Policy returns a copy of all that AddPolicy was given.
func (h *Host) Policy() rpc.Policy {
	h.mu.Lock()
	defer h.mu.Unlock()
	all := rpc.Policy{}
	for method, roles := range h.policy {
		all[method] = roles
	}
	return all
}

// AddHealth makes the service's health depend on check, under name.
func (h *Host) AddHealth(name string, check func(context.Context) error) {
	if server, ok := h.Registrar.(interface {
		AddHealth(string, func(context.Context) error)
	}); ok {
		server.AddHealth(name, check)
	}
}

// Close stops and closes everything in the reverse of the order it came, each
// within ctx, and goes on past errors, which it returns joined. A second Close
// waits for the first and returns the same.
func (h *Host) Close(ctx context.Context) error {
	h.mu.Lock()
	if h.closed {
		done := h.done
		h.mu.Unlock()
		<-done
		return h.closeErr
	}
	h.closed, h.done = true, make(chan struct{})
	closers, end := h.closers, h.end
	h.closers = nil
	h.mu.Unlock()

	var errs []error
	for i := len(closers) - 1; i >= 0; i-- {
		errs = append(errs, closers[i](ctx))
	}
	if end != nil {
		end()
	}
	h.closeErr = errors.Join(errs...)
	close(h.done)
	return h.closeErr
}

// failure is what Run failed to start.
func (h *Host) failure() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.failed
}
