package rpc

import (
	"bytes"
	"context"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/metric/metricdata"
	"google.golang.org/grpc"
	testgrpc "google.golang.org/grpc/interop/grpc_testing"
	"google.golang.org/grpc/test/bufconn"

	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/telemetry"
)

const (
	coopID     = "0198a000-0000-7000-8000-000000000001"
	farmID     = "0198a000-0000-7000-8000-000000000002"
	unaryCall  = "/grpc.testing.TestService/UnaryCall"
	emptyCall  = "/grpc.testing.TestService/EmptyCall"
	outputCall = "/grpc.testing.TestService/StreamingOutputCall"
	duplexCall = "/grpc.testing.TestService/FullDuplexCall"
)

// everyRole is a policy that lets every role call the methods.
func everyRole(methods ...string) Policy {
	p := Policy{}
	for _, m := range methods {
		p[m] = identity.Roles()
	}
	return p
}

// as returns a context of the role, with what the role stands for.
func as(role identity.Role) context.Context {
	return identity.With(context.Background(), identity.Identity{
		CoopID: coopID, Role: role, FarmID: farmID, YardID: farmID, CustomerID: farmID,
	})
}

// service answers with whatever functions the test gives it.
type service struct {
	testgrpc.UnimplementedTestServiceServer
	onUnary  func(context.Context) error
	onOutput func(testgrpc.TestService_StreamingOutputCallServer) error
}

func (s *service) UnaryCall(ctx context.Context, req *testgrpc.SimpleRequest) (*testgrpc.SimpleResponse, error) {
	if err := s.onUnary(ctx); err != nil {
		return nil, err
	}
	return &testgrpc.SimpleResponse{Username: "done"}, nil
}

func (s *service) StreamingOutputCall(_ *testgrpc.StreamingOutputCallRequest, stream testgrpc.TestService_StreamingOutputCallServer) error {
	return s.onOutput(stream)
}

// rig is a server and a client of it, joined in memory.
type rig struct {
	server *Server
	conn   *grpc.ClientConn
	client testgrpc.TestServiceClient
	log    *lines
	meter  *metric.ManualReader
	tokens *identity.Tokens
	served chan error
}

// lines is a log that a test may read while it is written.
type lines struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.Write(p)
}

// with returns the log lines that contain all of the texts.
func (l *lines) with(texts ...string) []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	var found []string
	for line := range strings.Lines(l.buf.String()) {
		all := true
		for _, text := range texts {
			all = all && strings.Contains(line, text)
		}
		if all {
			found = append(found, line)
		}
	}
	return found
}

func testLog(t *testing.T) (*slog.Logger, *lines) {
	t.Helper()
	out := &lines{}
	log, err := telemetry.NewLogger(out, "json", "debug")
	if err != nil {
		t.Fatal(err)
	}
	return log, out
}

func testTokens() *identity.Tokens {
	return identity.NewTokens(bytes.Repeat([]byte("k"), identity.MinKeyBytes), clock.System())
}

// newRig serves svc; change may alter the options of both sides.
func newRig(t *testing.T, svc *service, change func(*ServerOptions, *DialOptions)) *rig {
	t.Helper()
	log, out := testLog(t)
	r := &rig{log: out, meter: metric.NewManualReader(), tokens: testTokens(), served: make(chan error, 1)}
	so := ServerOptions{
		Log: log, Tokens: r.tokens, Meter: metric.NewMeterProvider(metric.WithReader(r.meter)),
		Policy: everyRole(unaryCall, outputCall, duplexCall),
	}
	lis := bufconn.Listen(1 << 20)
	do := DialOptions{
		Tokens: r.tokens, Caller: "tester",
		Dialer: func(ctx context.Context, _ string) (net.Conn, error) { return lis.DialContext(ctx) },
	}
	if change != nil {
		change(&so, &do)
	}
	r.server = NewServer(so)
	testgrpc.RegisterTestServiceServer(r.server, svc)
	go func() { r.served <- r.server.Serve(lis) }()
	conn, err := Dial("passthrough:///in-memory", do)
	if err != nil {
		t.Fatal(err)
	}
	r.conn, r.client = conn, testgrpc.NewTestServiceClient(conn)
	t.Cleanup(func() {
		if err := conn.Close(); err != nil {
			t.Error(err)
		}
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		if err := r.server.Stop(ctx); err != nil {
			t.Error(err)
		}
	})
	return r
}

// counts returns how many calls the server counted, by code.
func counts(t *testing.T, reader *metric.ManualReader) map[string]int64 {
	t.Helper()
	var all metricdata.ResourceMetrics
	if err := reader.Collect(context.Background(), &all); err != nil {
		t.Fatal(err)
	}
	got := map[string]int64{}
	for _, scope := range all.ScopeMetrics {
		for _, m := range scope.Metrics {
			if sum, ok := m.Data.(metricdata.Sum[int64]); ok && m.Name == "breakshare.rpc.server.calls" {
				for _, p := range sum.DataPoints {
					code, _ := p.Attributes.Value("rpc.response.status_code")
					got[code.AsString()] += p.Value
				}
			}
		}
	}
	return got
}
