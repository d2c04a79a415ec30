package rpc

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	testgrpc "google.golang.org/grpc/interop/grpc_testing"
	"google.golang.org/grpc/metadata"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

func TestEveryRoleAgainstEveryMethod(t *testing.T) {
	t.Parallel()
	svc := &service{
		onUnary:  func(context.Context) error { return nil },
		onOutput: func(testgrpc.TestService_StreamingOutputCallServer) error { return nil },
	}
	policy := Policy{
		unaryCall:  {identity.Coordinator, identity.Grower},
		outputCall: {identity.Buyer},
	}
	r := newRig(t, svc, func(so *ServerOptions, _ *DialOptions) { so.Policy = policy })
	calls := map[string]func(context.Context) error{
		unaryCall: func(ctx context.Context) error { _, err := r.client.UnaryCall(ctx, nil); return err },
		emptyCall: func(ctx context.Context) error { _, err := r.client.EmptyCall(ctx, nil); return err },
		outputCall: func(ctx context.Context) error {
			stream, err := r.client.StreamingOutputCall(ctx, nil)
			if err != nil {
				return err
			}
			for err == nil {
				_, err = stream.Recv()
			}
			return ignoreEOF(err)
		},
	}
	for method, call := range calls {
		for _, role := range identity.Roles() {
			err := call(as(role))
			want := slices.Contains(policy[method], role)
			if got := policy.Allows(method, role); got != want {
				t.Errorf("Allows(%s, %s) = %v", method, role, got)
			}
			if want && err != nil {
				t.Errorf("%s as %s: %v, want it let in", method, role, err)
			}
			if !want && fault.KindOf(err) != fault.Forbidden {
				t.Errorf("%s as %s: %v, want it forbidden", method, role, err)
			}
		}
		if err := call(context.Background()); fault.KindOf(err) != fault.Unauthenticated {
			t.Errorf("%s without a token: %v", method, err)
		}
	}
}

func TestHandlerSeesTheCaller(t *testing.T) {
	t.Parallel()
	want := identity.Identity{CoopID: coopID, Role: identity.Grower, FarmID: farmID, Name: "Low Barn"}
	seen := make(chan identity.Identity, 1)
	r := newRig(t, &service{onUnary: func(ctx context.Context) error { seen <- identity.Must(ctx); return nil }}, nil)
	if _, err := r.client.UnaryCall(identity.With(context.Background(), want), nil); err != nil {
		t.Fatal(err)
	}
	if got := <-seen; got != want {
		t.Errorf("the handler saw %v, want %v", got, want)
	}
	if n := len(r.log.with(`"msg":"call"`, unaryCall, coopID, `"role":"grower"`, "breakshare/tester", `"code":"OK"`)); n != 1 {
		t.Errorf("%d log lines tell method, co-op, role, caller and code; want 1", n)
	}
}

func TestBearer(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		headers []string
		want    string // "" for refused
	}{
		"good":            {[]string{"Bearer abc"}, "abc"},
		"scheme in lower": {[]string{"bearer abc"}, "abc"}, // RFC 9110, section 11.1: case-insensitive
		"none":            {nil, ""},
		"two":             {[]string{"Bearer a", "Bearer b"}, ""},
		"other scheme":    {[]string{"Basic abc"}, ""},
		"only the scheme": {[]string{"Bearer"}, ""},
		"no token":        {[]string{"Bearer "}, ""},
	} {
		ctx := metadata.NewIncomingContext(context.Background(), metadata.MD{authHeader: tc.headers})
		got, err := bearer(ctx)
		if got != tc.want || (err != nil) != (tc.want == "") || (err != nil && fault.KindOf(err) != fault.Unauthenticated) {
			t.Errorf("%s: %q, %v; want %q", name, got, err, tc.want)
		}
	}
}

func TestTokenOfAnotherKeyIsRefused(t *testing.T) {
	t.Parallel()
	other := identity.NewTokens([]byte(strings.Repeat("x", 32)), testClock{})
	r := newRig(t, &service{}, func(_ *ServerOptions, do *DialOptions) { do.Tokens = other })
	_, err := r.client.UnaryCall(as(identity.Coordinator), nil)
	if f := fault.From(err); f.Kind != fault.Unauthenticated || f.Reason != "TOKEN_REFUSED" {
		t.Errorf("error %v", err)
	}
}

type testClock struct{}

func (testClock) Now() time.Time { return time.Now().UTC() }

func TestHealthAndReflectionAreOpen(t *testing.T) {
	t.Parallel()
	r := newRig(t, &service{}, nil)
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	if _, err := healthv1.NewHealthClient(r.conn).Check(ctx, nil); err != nil {
		t.Errorf("health without a token: %v", err)
	}
	stream, err := reflectionv1.NewServerReflectionClient(r.conn).ServerReflectionInfo(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Send(&reflectionv1.ServerReflectionRequest{
		MessageRequest: &reflectionv1.ServerReflectionRequest_ListServices{ListServices: "*"},
	}); err != nil {
		t.Fatal(err)
	}
	answer, err := stream.Recv()
	if err != nil {
		t.Fatalf("reflection without a token: %v", err)
	}
	var names []string
	for _, s := range answer.GetListServicesResponse().GetService() {
		names = append(names, s.GetName())
	}
	if !slices.Contains(names, "grpc.testing.TestService") {
		t.Errorf("reflection lists %v", names)
	}
	if lines := r.log.with(`"msg":"call"`); len(lines) != 0 {
		t.Errorf("probes fill the log: %v", lines)
	}
}

func TestCheckPolicyFindsSlips(t *testing.T) {
	t.Parallel()
	log, _ := testLog(t)
	s := NewServer(ServerOptions{Log: log, Tokens: testTokens(), Policy: everyRole("/shop.Till/Open")})
	s.RegisterService(&grpc.ServiceDesc{ServiceName: "shop.Till", Methods: []grpc.MethodDesc{{MethodName: "Open"}}}, nil)
	if err := s.CheckPolicy(); err != nil {
		t.Errorf("a whole policy: %v", err)
	}
	s.RegisterService(&grpc.ServiceDesc{ServiceName: "shop.Door", Streams: []grpc.StreamDesc{{StreamName: "Knock"}}}, nil)
	s.AddPolicy(everyRole("/shop.Door/Knok"))
	err := s.CheckPolicy()
	if err == nil || !strings.Contains(err.Error(), "/shop.Door/Knock has no policy") || !strings.Contains(err.Error(), "names /shop.Door/Knok,") {
		t.Errorf("error %v, want both slips", err)
	}
	s.AddPolicy(everyRole("/shop.Door/Knok"))
	defer func() {
		if recover() == nil {
			t.Error("two policies for one method were taken")
		}
	}()
	s.AddPolicy(Policy{"/shop.Till/Open": {identity.Buyer}})
}
