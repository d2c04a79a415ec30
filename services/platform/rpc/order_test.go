package rpc

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"testing"
	"time"

	"go.opentelemetry.io/otel/sdk/metric"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// onion is a call with everything wrong; a test mends one thing after the
// other and sees which step answers next.
type onion struct {
	token  string
	due    time.Duration // 0 for none
	req    proto.Message
	answer func() error
}

func (o onion) context(t *testing.T) context.Context {
	t.Helper()
	ctx := metadata.NewIncomingContext(context.Background(), metadata.Pairs(authHeader, "Bearer "+o.token))
	if o.due == 0 {
		return ctx
	}
	ctx, cancel := context.WithTimeout(ctx, o.due)
	t.Cleanup(cancel)
	return ctx
}

// fakeStream receives one message, which is the request, and has a context.
type fakeStream struct {
	grpc.ServerStream
	ctx context.Context
}

func (s fakeStream) Context() context.Context { return s.ctx }
func (s fakeStream) RecvMsg(any) error        { return nil }

// TestOrderOfInterceptors proves the order by peeling: while an outer step has
// a reason to refuse, no inner one is heard, and the observer hears them all.
func TestOrderOfInterceptors(t *testing.T) {
	t.Parallel()
	const method = "/rpctest.Rows/Add"
	log, out := testLog(t)
	reader := metric.NewManualReader()
	ob, err := newObserver(log, metric.NewMeterProvider(metric.WithReader(reader)))
	if err != nil {
		t.Fatal(err)
	}
	tokens := testTokens()
	token := func(role identity.Role) string {
		s, err := tokens.Mint(identity.Identity{CoopID: coopID, Role: role}, time.Minute)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	ps := &policies{}
	ps.add(Policy{method: {identity.Coordinator}})
	steps := pipeline(ServerOptions{Log: log, Tokens: tokens, Deadline: time.Minute}, ob, ps)
	plain := errors.New("disk 7 is full")

	all := onion{token: "bad", due: 50 * time.Millisecond, req: ruled(t, "", 0), answer: func() error { panic("boom") }}
	peels := []struct {
		step   string
		mend   func(*onion)
		want   fault.Kind
		reason string
		stream bool // whether streams have this step
	}{
		{"auth: token", func(*onion) {}, fault.Unauthenticated, "TOKEN_REFUSED", true},
		{"auth: policy", func(o *onion) { o.token = token(identity.Operator) }, fault.Forbidden, "ROLE_NOT_ALLOWED", true},
		{"deadline", func(o *onion) { o.token = token(identity.Coordinator) }, fault.Deadline, "TOO_LATE", false},
		{"validate", func(o *onion) { o.due = 0 }, fault.Invalid, ReasonInvalidRequest, true},
		{"recover", func(o *onion) { o.req = ruled(t, "ok", 1) }, fault.Internal, "", true},
		{"faults", func(o *onion) { o.answer = func() error { return plain } }, fault.Internal, "INTERNAL", true},
	}
	for _, kind := range []string{"unary", "stream"} {
		o := all
		for _, p := range peels {
			p.mend(&o)
			var err error
			if kind == "unary" {
				_, err = unary(steps, validate)(o.context(t), o.req, &grpc.UnaryServerInfo{FullMethod: method},
					func(context.Context, any) (any, error) { return nil, o.answer() })
			} else if p.stream {
				err = streaming(steps, validate)(nil, fakeStream{ctx: o.context(t)}, &grpc.StreamServerInfo{FullMethod: method},
					func(_ any, s grpc.ServerStream) error {
						if err := s.RecvMsg(o.req); err != nil {
							return err
						}
						return o.answer()
					})
			} else {
				continue
			}
			var got *fault.Error
			if !errors.As(err, &got) || got.Kind != p.want || got.Reason != p.reason {
				t.Errorf("%s, %s: answered %v (%+v), want %v %s", kind, p.step, err, got, p.want, p.reason)
			}
			if p.step == "faults" && !errors.Is(err, plain) {
				t.Errorf("%s: the cause is lost to the log: %v", kind, err)
			}
		}
	}
	want := map[string]int64{"Unauthenticated": 2, "PermissionDenied": 2, "DeadlineExceeded": 1, "InvalidArgument": 2, "Internal": 4}
	got := counts(t, reader)
	for code, n := range want {
		if got[code] != n {
			t.Errorf("the observer counted %d %s, want %d", got[code], code, n)
		}
	}
	if n := len(out.with(`"msg":"call"`)); n != 11 {
		t.Errorf("%d log lines for 11 calls", n)
	}
	if n := len(out.with("a handler panicked", "boom", "order_test.go")); n != 2 {
		t.Errorf("%d panics logged with their stack, want 2", n)
	}
	if n := len(out.with(`"level":"ERROR"`, "disk 7 is full", coopID)); n != 2 {
		t.Errorf("%d log lines tell the cause of an internal error and the co-op, want 2", n)
	}
}

// brokenLog panics on the line of a call, as a faulty log sink might.
type brokenLog struct{ slog.Handler }

func (brokenLog) Handle(_ context.Context, r slog.Record) error {
	if r.Message == "call" {
		panic("the sink broke")
	}
	return nil
}

// Recovery is outside even of the observer: a panic there ends the call, not
// the process.
func TestRecoveryIsOutermost(t *testing.T) {
	t.Parallel()
	log := slog.New(brokenLog{slog.NewTextHandler(io.Discard, &slog.HandlerOptions{Level: slog.LevelDebug})})
	ob, err := newObserver(log, metric.NewMeterProvider())
	if err != nil {
		t.Fatal(err)
	}
	steps := pipeline(ServerOptions{Log: log, Tokens: testTokens(), Deadline: time.Minute}, ob, &policies{})
	err = steps(context.Background(), call{method: unaryCall}, func(context.Context) error { return nil })
	if fault.KindOf(err) != fault.Internal {
		t.Errorf("error %v, want the panic as an internal error", err)
	}
}
