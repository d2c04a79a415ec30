package rpc

import (
	"context"
	"errors"
	"testing"
	"time"

	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	testgrpc "google.golang.org/grpc/interop/grpc_testing"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// status asks the health service about name.
func status(t *testing.T, r *rig, name string) healthv1.HealthCheckResponse_ServingStatus {
	t.Helper()
	resp, err := healthv1.NewHealthClient(r.conn).Check(context.Background(), &healthv1.HealthCheckRequest{Service: name})
	if err != nil {
		t.Fatalf("health of %q: %v", name, err)
	}
	return resp.GetStatus()
}

func TestHealthFollowsTheChecks(t *testing.T) {
	t.Parallel()
	const up, down = healthv1.HealthCheckResponse_SERVING, healthv1.HealthCheckResponse_NOT_SERVING
	r := newRig(t, &service{}, nil)
	state := make(chan error, 1)
	state <- nil
	r.server.AddHealth("postgres", func(context.Context) error { err := <-state; state <- err; return err })
	r.server.AddHealth("bus", func(context.Context) error { return nil })
	for _, tc := range []struct {
		err  error
		want map[string]healthv1.HealthCheckResponse_ServingStatus
	}{
		{nil, map[string]healthv1.HealthCheckResponse_ServingStatus{"": up, "postgres": up, "bus": up, "grpc.testing.TestService": up}},
		{errors.New("refused"), map[string]healthv1.HealthCheckResponse_ServingStatus{"": down, "postgres": down, "bus": up, "grpc.testing.TestService": down}},
		{nil, map[string]healthv1.HealthCheckResponse_ServingStatus{"": up, "postgres": up, "bus": up, "grpc.testing.TestService": up}},
	} {
		<-state
		state <- tc.err
		for name, want := range tc.want {
			if got := status(t, r, name); got != want {
				t.Errorf("with %v: health of %q is %v, want %v", tc.err, name, got, want)
			}
		}
	}
	if n := len(r.log.with("unhealthy", "postgres", "refused")); n != 1 {
		t.Errorf("%d log lines for one turn to the worse", n)
	}
	if n := len(r.log.with("healthy again", "postgres")); n != 1 {
		t.Errorf("%d log lines for one turn to the better", n)
	}
	_, err := healthv1.NewHealthClient(r.conn).Check(context.Background(), &healthv1.HealthCheckRequest{Service: "nobody"})
	if fault.KindOf(err) != fault.NotFound {
		t.Errorf("health of an unknown service: %v", err)
	}
}

func TestStopWaitsForCallsAndEndsWatches(t *testing.T) {
	t.Parallel()
	entered, leave := make(chan struct{}), make(chan struct{})
	r := newRig(t, &service{onUnary: func(context.Context) error { close(entered); <-leave; return nil }}, nil)
	watch, err := healthv1.NewHealthClient(r.conn).Watch(context.Background(), &healthv1.HealthCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if first, err := watch.Recv(); err != nil || first.GetStatus() != healthv1.HealthCheckResponse_SERVING {
		t.Fatalf("watch begins with %v, %v", first, err)
	}
	answered := make(chan error, 1)
	go func() {
		ctx, cancel := context.WithTimeout(as(identity.Coordinator), 20*time.Second)
		defer cancel()
		_, err := r.client.UnaryCall(ctx, nil)
		answered <- err
	}()
	<-entered
	stopped := make(chan error, 1)
	go func() { stopped <- r.server.Stop(context.Background()) }()
	// The watch ends, which shows that the stop is under way.
	for err == nil {
		_, err = watch.Recv()
	}
	select {
	case err := <-stopped:
		t.Fatalf("stopped (%v) while a call ran", err)
	default:
	}
	close(leave)
	if err := <-answered; err != nil {
		t.Errorf("the call that ran: %v", err)
	}
	if err := <-stopped; err != nil {
		t.Errorf("Stop: %v", err)
	}
	if err := <-r.served; err != nil {
		t.Errorf("Serve: %v, want nil after Stop", err)
	}
}

func TestStopCutsOffWhenTimeIsUp(t *testing.T) {
	t.Parallel()
	entered := make(chan struct{})
	r := newRig(t, &service{onOutput: func(s testgrpc.TestService_StreamingOutputCallServer) error {
		close(entered)
		<-s.Context().Done()
		return s.Context().Err()
	}}, nil)
	drained := make(chan error, 1)
	go func() {
		_, err := drain(t, r)
		drained <- err
	}()
	<-entered
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := r.server.Stop(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("Stop: %v, want it to tell of calls cut off", err)
	}
	if err := <-drained; err == nil {
		t.Error("the stream that was cut off ended well")
	}
	if err := r.server.Stop(context.Background()); err != nil {
		t.Errorf("second Stop: %v", err)
	}
}

func TestNewServerNeedsLogAndTokens(t *testing.T) {
	t.Parallel()
	defer func() {
		if recover() == nil {
			t.Error("a server without tokens was made")
		}
	}()
	NewServer(ServerOptions{})
}
