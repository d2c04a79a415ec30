package rpc

import (
	"context"
	"crypto/tls"
	"fmt"
	"log/slog"
	"net"
	"slices"
	"time"

	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc/filters"
	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/metric/noop"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/protobuf/reflect/protoregistry"

	"breakshare.example/services/platform/identity"
)

const (
	// DefaultClientDeadline is given to a unary call whose context has none.
	DefaultClientDeadline = 2 * time.Second
	// clientKeepalive is how often an idle connection is probed.
	clientKeepalive = 30 * time.Second
)

// DialOptions is how a client speaks. Tokens must be set.
type DialOptions struct {
	Tokens *identity.Tokens
	// Caller names the calling service in the server's log.
	Caller string
	// Log hears of targets; nil is silent.
	Log *slog.Logger
	// TLS is needed to dial beyond loopback; nil speaks in the clear.
	TLS *tls.Config
	// Deadline is given to unary calls without one; 0 is
	// DefaultClientDeadline.
	Deadline time.Duration
	// Repeatable are full method names that may be repeated when the server
	// is unavailable, beside those whose proto declares an idempotency_level.
	Repeatable []string
	// Tracer defaults to the process-wide provider.
	Tracer trace.TracerProvider
	// Dialer replaces the network, for servers in the same process; the target
	// is then only a name.
	Dialer func(context.Context, string) (net.Conn, error)
}

// Dial makes a client connection to target, which connects when first used and
// again whenever it broke. Each call carries the identity in its context as a
// bearer token; an event handler's context has one in the role Service. Errors
// of calls are *fault.Error. It returns an error that wraps ErrNeedsTLS for a
// target beyond loopback without TLS.
func Dial(target string, o DialOptions) (*grpc.ClientConn, error) {
	if o.Tokens == nil {
		return nil, fmt.Errorf("dial %s: DialOptions.Tokens is missing", target)
	}
	if o.Dialer == nil && o.TLS == nil && !isLoopbackTarget(target) {
		return nil, fmt.Errorf("dial %s: %w", target, ErrNeedsTLS)
	}
	if o.Tracer == nil {
		o.Tracer = otel.GetTracerProvider()
	}
	if o.Deadline == 0 {
		o.Deadline = DefaultClientDeadline
	}
	config, err := retries(slices.Concat(repeatable(protoregistry.GlobalFiles), o.Repeatable))
	if err != nil {
		return nil, fmt.Errorf("dial %s: %w", target, err)
	}
	conn, err := grpc.NewClient(target, dialOptions(o, config)...)
	if err != nil {
		return nil, fmt.Errorf("dial %s: %w", target, err)
	}
	if o.Log != nil {
		o.Log.Debug("client made", "target", target, "caller", o.Caller)
	}
	return conn, nil
}

func dialOptions(o DialOptions, serviceConfig string) []grpc.DialOption {
	transport := insecure.NewCredentials()
	if o.TLS != nil {
		transport = credentials.NewTLS(o.TLS)
	}
	options := []grpc.DialOption{
		grpc.WithTransportCredentials(transport),
		grpc.WithPerRPCCredentials(bearerTokens{o.Tokens}),
		grpc.WithUserAgent("breakshare/" + o.Caller),
		grpc.WithDefaultServiceConfig(serviceConfig),
		grpc.WithStatsHandler(otelgrpc.NewClientHandler(
			otelgrpc.WithTracerProvider(o.Tracer),
			otelgrpc.WithPropagators(propagation.TraceContext{}),
			otelgrpc.WithMeterProvider(noop.NewMeterProvider()),
			otelgrpc.WithFilter(filters.Not(filters.HealthCheck())),
		)),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{
			Time: clientKeepalive, Timeout: 5 * time.Second, PermitWithoutStream: true,
		}),
		// A service that restarts should be found again at once, not after the
		// two minutes that the default backoff grows to.
		grpc.WithConnectParams(grpc.ConnectParams{
			Backoff:           backoff.Config{BaseDelay: 50 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: 2 * time.Second},
			MinConnectTimeout: 2 * time.Second,
		}),
		grpc.WithChainUnaryInterceptor(clientUnary(o.Deadline)),
		grpc.WithChainStreamInterceptor(clientStream),
	}
	if o.Dialer != nil {
		options = append(options, grpc.WithContextDialer(o.Dialer))
	}
	return options
}
