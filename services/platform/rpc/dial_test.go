package rpc

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/reflect/protoregistry"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

func TestRetriesOnlyWhatMayBeRepeated(t *testing.T) {
	t.Parallel()
	var tries atomic.Int64
	svc := &service{onUnary: func(context.Context) error {
		if tries.Add(1) < 3 {
			return fault.New(fault.Unavailable, "STARTING", "not yet")
		}
		return nil
	}}
	r := newRig(t, svc, func(_ *ServerOptions, do *DialOptions) {
		do.Repeatable, do.Deadline = []string{unaryCall}, 0
	})
	if _, err := r.client.UnaryCall(as(identity.Service), nil); err != nil || tries.Load() != 3 {
		t.Errorf("a repeatable call: error %v after %d tries, want success at the third", err, tries.Load())
	}
	tries.Store(0)
	r = newRig(t, svc, nil)
	_, err := r.client.UnaryCall(as(identity.Service), nil)
	if f := fault.From(err); tries.Load() != 1 || f.Kind != fault.Unavailable || f.Reason != "STARTING" {
		t.Errorf("a call that must not be repeated: error %v after %d tries", err, tries.Load())
	}
}

func TestRetriesNoOtherError(t *testing.T) {
	t.Parallel()
	var tries atomic.Int64
	svc := &service{onUnary: func(context.Context) error {
		tries.Add(1)
		return fault.New(fault.Stale, "STALE", "changed")
	}}
	r := newRig(t, svc, func(_ *ServerOptions, do *DialOptions) { do.Repeatable = []string{unaryCall} })
	if _, err := r.client.UnaryCall(as(identity.Service), nil); fault.KindOf(err) != fault.Stale || tries.Load() != 1 {
		t.Errorf("error %v after %d tries, want one", err, tries.Load())
	}
}

func TestRepeatableByIdempotencyLevel(t *testing.T) {
	t.Parallel()
	var files protoregistry.Files
	if err := files.RegisterFile(ruledFile()); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"/rpctest.Rows/Put", "/rpctest.Rows/Read"}, repeatable(&files)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestServiceConfig(t *testing.T) {
	t.Parallel()
	text, err := retries([]string{"/a.B/C", "d.E/F"})
	if err != nil {
		t.Fatal(err)
	}
	var got serviceConfig
	if err := json.Unmarshal([]byte(text), &got); err != nil {
		t.Fatal(err)
	}
	want := []methodName{{"a.B", "C"}, {"d.E", "F"}}
	if len(got.MethodConfig) != 1 || !slices.Equal(got.MethodConfig[0].Name, want) {
		t.Errorf("config %s, want the methods %v", text, want)
	}
	for _, bad := range []string{"", "/a.B", "/a.B/", "//C"} {
		if _, err := Dial("127.0.0.1:1", DialOptions{Tokens: testTokens(), Repeatable: []string{bad}}); err == nil {
			t.Errorf("the method name %q was taken", bad)
		}
	}
	conn, err := Dial("127.0.0.1:1", DialOptions{Tokens: testTokens()})
	if err != nil {
		t.Fatalf("nothing to repeat: %v", err)
	}
	if err := conn.Close(); err != nil {
		t.Error(err)
	}
}

func TestUnreachableServerIsUnavailable(t *testing.T) {
	t.Parallel()
	conn, err := Dial("127.0.0.1:1", DialOptions{Tokens: testTokens()})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	err = conn.Invoke(as(identity.Service), unaryCall, ruled(t, "x"), ruled(t, ""))
	f := fault.From(err)
	if f.Kind != fault.Unavailable || strings.Contains(f.Message, "127.0.0.1") {
		t.Errorf("error %+v: want unavailable, the address only in the cause", f)
	}
	if !strings.Contains(err.Error(), "127.0.0.1:1") || !strings.Contains(err.Error(), unaryCall) {
		t.Errorf("error %q names neither method nor address for the log", err)
	}
}

func TestIdentityThatCannotCall(t *testing.T) {
	t.Parallel()
	r := newRig(t, &service{}, nil)
	ctx := identity.With(context.Background(), identity.Identity{Role: identity.Grower})
	_, err := r.client.UnaryCall(ctx, nil)
	if f := fault.From(err); f.Kind != fault.Unauthenticated || f.Reason != "TOKEN_NOT_MINTED" {
		t.Errorf("error %v", err)
	}
}

func TestDialNeedsTokens(t *testing.T) {
	t.Parallel()
	if _, err := Dial("127.0.0.1:1", DialOptions{}); err == nil || errors.Is(err, ErrNeedsTLS) {
		t.Errorf("error %v", err)
	}
}
