package rpc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	testgrpc "google.golang.org/grpc/interop/grpc_testing"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

func ignoreEOF(err error) error {
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

// drain reads a stream to its end: how many messages, and the error if any.
func drain(t *testing.T, r *rig) (int, error) {
	t.Helper()
	stream, err := r.client.StreamingOutputCall(as(identity.Coordinator), nil)
	if err != nil {
		return 0, err
	}
	for n := 0; ; n++ {
		if _, err := stream.Recv(); err != nil {
			return n, ignoreEOF(err)
		}
	}
}

// Every kind goes over the wire and comes back, from calls and from streams
// that had already answered.
func TestFaultsCrossTheWire(t *testing.T) {
	t.Parallel()
	var current error
	svc := &service{
		onUnary: func(context.Context) error { return fmt.Errorf("save the lot: %w", current) },
		onOutput: func(s testgrpc.TestService_StreamingOutputCallServer) error {
			for range 2 {
				if err := s.Send(&testgrpc.StreamingOutputCallResponse{}); err != nil {
					return err
				}
			}
			return current
		},
	}
	r := newRig(t, svc, nil)
	for _, kind := range fault.Kinds() {
		sent := fault.New(kind, "LOT_HELD", "lot 31 is held: release it first").
			WithField("lot", "is held").WithMeta("lot", "31").WithCause(errors.New("row 7"))
		want := fault.New(kind, "LOT_HELD", "lot 31 is held: release it first").
			WithField("lot", "is held").WithMeta("lot", "31")
		if kind == fault.Internal {
			want = fault.FromStatus((&fault.Error{}).GRPCStatus().Err())
		}
		current = sent
		_, unaryErr := r.client.UnaryCall(as(identity.Coordinator), nil)
		n, streamErr := drain(t, r)
		if n != 2 {
			t.Errorf("%v: %d messages before the error, want 2", kind, n)
		}
		for how, err := range map[string]error{"unary": unaryErr, "stream": streamErr} {
			var got *fault.Error
			if !errors.As(err, &got) {
				t.Errorf("%s %v: %T is no fault", how, kind, err)
				continue
			}
			if diff := cmp.Diff(want, got, cmpopts.IgnoreFields(fault.Error{}, "Cause")); diff != "" {
				t.Errorf("%s %v (-want +got):\n%s", how, kind, diff)
			}
			if strings.Contains(err.Error(), "row 7") {
				t.Errorf("%s %v: the cause crossed the wire: %v", how, kind, err)
			}
		}
	}
}

func TestPanicsBecomeInternal(t *testing.T) {
	t.Parallel()
	svc := &service{
		onUnary:  func(context.Context) error { panic("unary boom") },
		onOutput: func(testgrpc.TestService_StreamingOutputCallServer) error { panic("stream boom") },
	}
	r := newRig(t, svc, nil)
	_, err := r.client.UnaryCall(as(identity.Coordinator), nil)
	_, streamErr := drain(t, r)
	for _, err := range []error{err, streamErr} {
		if fault.KindOf(err) != fault.Internal || strings.Contains(err.Error(), "boom") {
			t.Errorf("error %v, want an internal one that hides the panic", err)
		}
	}
	for _, text := range []string{"unary boom", "stream boom"} {
		if n := len(r.log.with("a handler panicked", text)); n != 1 {
			t.Errorf("%d log lines for %q, want 1", n, text)
		}
	}
	svc.onUnary = func(context.Context) error { return nil }
	if _, err := r.client.UnaryCall(as(identity.Coordinator), nil); err != nil {
		t.Errorf("after the panics the server does not live on: %v", err)
	}
}

func TestValidationNamesTheField(t *testing.T) {
	t.Parallel()
	if err := validate(ruled(t, "oyster", 1, 2)); err != nil {
		t.Fatalf("a sound message: %v", err)
	}
	err := validate(ruled(t, "", 5, 0, -3))
	f := fault.From(err)
	if f.Kind != fault.Invalid || f.Reason != ReasonInvalidRequest {
		t.Fatalf("error %v", err)
	}
	var paths []string
	for _, field := range f.Fields {
		paths = append(paths, field.Path)
		if field.Description == "" {
			t.Errorf("%s: no description", field.Path)
		}
	}
	if diff := cmp.Diff([]string{"rows[1].grams", "rows[2].grams", "name"}, paths); diff != "" {
		t.Errorf("fields (-want +got):\n%s", diff)
	}
	if !strings.HasPrefix(f.Message, "rows[1].grams: ") || !strings.HasSuffix(f.Message, "(and 2 more)") {
		t.Errorf("message %q does not name the first field and how many more", f.Message)
	}
	if err := validate("not a message"); err != nil {
		t.Errorf("what is no message is not ours to check: %v", err)
	}
}
