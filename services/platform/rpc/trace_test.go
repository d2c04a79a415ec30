package rpc

import (
	"context"
	"testing"
	"time"

	"go.opentelemetry.io/otel/attribute"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	testgrpc "google.golang.org/grpc/interop/grpc_testing"

	"breakshare.example/services/platform/identity"
)

// spanChannel is an in-memory exporter that a test can wait on: a server's
// span may end after the client has its answer.
type spanChannel chan sdktrace.ReadOnlySpan

func (c spanChannel) ExportSpans(_ context.Context, spans []sdktrace.ReadOnlySpan) error {
	for _, s := range spans {
		c <- s
	}
	return nil
}

func (spanChannel) Shutdown(context.Context) error { return nil }

// take waits for n spans, by kind.
func (c spanChannel) take(t *testing.T, n int) map[trace.SpanKind]sdktrace.ReadOnlySpan {
	t.Helper()
	got := map[trace.SpanKind]sdktrace.ReadOnlySpan{}
	for range n {
		select {
		case s := <-c:
			if other, ok := got[s.SpanKind()]; ok {
				t.Fatalf("two %v spans for one call: %s and %s", s.SpanKind(), other.Name(), s.Name())
			}
			got[s.SpanKind()] = s
		case <-time.After(10 * time.Second):
			t.Fatalf("only %d of %d spans ended", len(got), n)
		}
	}
	return got
}

func TestTraceTree(t *testing.T) {
	t.Parallel()
	spans := make(spanChannel, 100)
	tracer := sdktrace.NewTracerProvider(sdktrace.WithSyncer(spans))
	inHandler := make(chan trace.SpanContext, 1)
	svc := &service{
		onUnary: func(ctx context.Context) error { inHandler <- trace.SpanContextFromContext(ctx); return nil },
		onOutput: func(s testgrpc.TestService_StreamingOutputCallServer) error {
			inHandler <- trace.SpanContextFromContext(s.Context())
			return nil
		},
	}
	r := newRig(t, svc, func(so *ServerOptions, do *DialOptions) { so.Tracer, do.Tracer = tracer, tracer })
	for name, call := range map[string]func(context.Context) error{
		"grpc.testing.TestService/UnaryCall": func(ctx context.Context) error {
			_, err := r.client.UnaryCall(ctx, nil)
			return err
		},
		"grpc.testing.TestService/StreamingOutputCall": func(ctx context.Context) error {
			s, err := r.client.StreamingOutputCall(ctx, nil)
			if err != nil {
				return err
			}
			_, err = s.Recv()
			return ignoreEOF(err)
		},
	} {
		// A probe in between must leave no span.
		if _, err := healthv1.NewHealthClient(r.conn).Check(context.Background(), nil); err != nil {
			t.Fatal(err)
		}
		ctx, root := tracer.Tracer("test").Start(as(identity.Coordinator), "page")
		if err := call(ctx); err != nil {
			t.Fatal(err)
		}
		root.End()
		got := spans.take(t, 3)
		client, server := got[trace.SpanKindClient], got[trace.SpanKindServer]
		if client == nil || server == nil || got[trace.SpanKindInternal] == nil {
			t.Fatalf("%s: spans %v, want the page's, the client's and the server's", name, got)
		}
		if client.Parent().SpanID() != root.SpanContext().SpanID() {
			t.Errorf("%s: the client's span hangs on %v, want the page's", name, client.Parent().SpanID())
		}
		if server.Parent().SpanID() != client.SpanContext().SpanID() || !server.Parent().IsRemote() {
			t.Errorf("%s: the server's span hangs on %v, want the client's", name, server.Parent().SpanID())
		}
		if server.SpanContext().TraceID() != root.SpanContext().TraceID() {
			t.Errorf("%s: the server began a trace of its own", name)
		}
		if client.Name() != name || server.Name() != name {
			t.Errorf("spans named %q and %q, want %q", client.Name(), server.Name(), name)
		}
		if seen := <-inHandler; seen.SpanID() != server.SpanContext().SpanID() {
			t.Errorf("%s: the handler is in span %v, want the server's", name, seen.SpanID())
		}
		hasCode := false
		for _, a := range server.Attributes() {
			hasCode = hasCode || a.Key == attribute.Key("rpc.response.status_code")
		}
		if !hasCode {
			t.Errorf("%s: the server's span has no code: %v", name, server.Attributes())
		}
	}
	select {
	case s := <-spans:
		t.Errorf("one span too many: %s (%v)", s.Name(), s.SpanKind())
	default:
	}
}
