package rpc

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"slices"
	"strings"
	"sync"
	"time"

	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc/filters"
	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/metric"
	"go.opentelemetry.io/otel/metric/noop"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	"breakshare.example/services/platform/identity"
)

// ServerOptions is what a server needs. Log and Tokens must be set.
type ServerOptions struct {
	Log    *slog.Logger
	Tokens *identity.Tokens
	// Policy to begin with; AddPolicy adds to it.
	Policy Policy
	// Meter and Tracer default to the process-wide providers.
	Meter  metric.MeterProvider
	Tracer trace.TracerProvider
	// TLS is needed to listen beyond loopback; nil speaks in the clear.
	TLS *tls.Config
	// Deadline is given to unary calls without one; 0 is
	// DefaultServerDeadline.
	Deadline time.Duration
}

// Server is a gRPC server with the suite's interceptors, health and
// reflection. It installs no signal handlers and owns no process-wide state:
// one process may run several.
type Server struct {
	grpc     *grpc.Server
	log      *slog.Logger
	tls      bool
	policies policies
	health   *healthServer
	stop     sync.Once
	stopped  chan struct{}
}

// NewServer makes a server; register services on it, then Serve. It panics
// when Log or Tokens is missing, which no configuration can cause.
func NewServer(o ServerOptions) *Server {
	if o.Log == nil || o.Tokens == nil {
		panic("rpc: ServerOptions need Log and Tokens")
	}
	if o.Meter == nil {
		o.Meter = otel.GetMeterProvider()
	}
	if o.Tracer == nil {
		o.Tracer = otel.GetTracerProvider()
	}
	if o.Deadline == 0 {
		o.Deadline = DefaultServerDeadline
	}
	observer, err := newObserver(o.Log, o.Meter)
	if err != nil {
		panic("rpc: " + err.Error()) // the instruments' names are constant
	}
	s := &Server{log: o.Log, tls: o.TLS != nil, health: newHealthServer(o.Log), stopped: make(chan struct{})}
	s.policies.add(o.Policy)
	steps := pipeline(o, observer, &s.policies)
	options := []grpc.ServerOption{
		grpc.StatsHandler(otelgrpc.NewServerHandler(
			otelgrpc.WithTracerProvider(o.Tracer),
			otelgrpc.WithPropagators(propagation.TraceContext{}),
			// The observer counts calls; twice would be one too many.
			otelgrpc.WithMeterProvider(noop.NewMeterProvider()),
			otelgrpc.WithFilter(filters.Not(filters.HealthCheck())),
		)),
		grpc.ChainUnaryInterceptor(unary(steps, validate)),
		grpc.ChainStreamInterceptor(streaming(steps, validate)),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: time.Minute, Timeout: 10 * time.Second}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: clientKeepalive / 2, PermitWithoutStream: true}),
	}
	if o.TLS != nil {
		options = append(options, grpc.Creds(credentials.NewTLS(o.TLS)))
	}
	s.grpc = grpc.NewServer(options...)
	healthv1.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
	return s
}

// pipeline is the one order of the steps; doc.go tells why each stands where
// it does.
func pipeline(o ServerOptions, ob *observer, ps *policies) step {
	return chain(recovery(o.Log), ob.step, auth(o.Tokens, ps), deadlines(o.Deadline), faults)
}

// RegisterService implements grpc.ServiceRegistrar. The service's name becomes
// known to the health service.
func (s *Server) RegisterService(desc *grpc.ServiceDesc, impl any) {
	s.grpc.RegisterService(desc, impl)
	s.health.add(desc.ServiceName, nil)
}

// AddPolicy adds to the policy; a method claimed twice with different roles
// panics.
func (s *Server) AddPolicy(p Policy) { s.policies.add(p) }

// AddHealth makes the health of name depend on check: the full name of a gRPC
// service, or of a part such as "postgres". Names without checks of their own,
// that of the server as a whole among them, depend on all checks. Checks must
// be quick: a round of all of them has two seconds. name must not be empty.
func (s *Server) AddHealth(service string, check func(context.Context) error) {
	s.health.add(service, check)
}

// CheckPolicy refuses a registered method without a policy and a policy for a
// method that is not registered: both are slips that would only show when
// somebody calls.
func (s *Server) CheckPolicy() error {
	policy := s.policies.snapshot()
	var errs []error
	for service, info := range s.grpc.GetServiceInfo() {
		for _, m := range info.Methods {
			method := "/" + service + "/" + m.Name
			if _, ok := policy[method]; !ok && !isOpen(method) {
				errs = append(errs, fmt.Errorf("%s has no policy: every call to it will be refused; name the roles that may call it", method))
			}
			delete(policy, method)
		}
	}
	for method := range policy {
		errs = append(errs, fmt.Errorf("the policy names %s, which is not registered; correct the name or register its service", method))
	}
	slices.SortFunc(errs, func(a, b error) int { return strings.Compare(a.Error(), b.Error()) })
	return errors.Join(errs...)
}

// Serve answers calls on lis until Stop; then it returns nil. It refuses a
// listener beyond loopback when the server has no TLS.
func (s *Server) Serve(lis net.Listener) error {
	if !s.tls && !isLoopbackAddr(lis.Addr()) {
		return fmt.Errorf("listen on %s: %w", lis.Addr(), ErrNeedsTLS)
	}
	if err := s.CheckPolicy(); err != nil {
		s.log.Error("the policy does not fit the methods", "error", err)
	}
	s.health.refresh(s.health.over)
	go s.health.loop()
	if err := s.grpc.Serve(lis); err != nil && !errors.Is(err, grpc.ErrServerStopped) {
		return fmt.Errorf("serve on %s: %w", lis.Addr(), err)
	}
	return nil
}

// Stop refuses new calls, tells probes so, and waits for the calls that run.
// When ctx ends first it cuts them off and returns an error that wraps ctx's.
// Further calls of Stop wait for the first.
func (s *Server) Stop(ctx context.Context) error {
	s.stop.Do(func() {
		s.health.Shutdown()
		s.health.stop()
		go func() {
			s.grpc.GracefulStop()
			close(s.stopped)
		}()
	})
	select {
	case <-s.stopped:
		return nil
	case <-ctx.Done():
		s.grpc.Stop()
		<-s.stopped
		return fmt.Errorf("stop: calls still running were cut off: %w", ctx.Err())
	}
}
