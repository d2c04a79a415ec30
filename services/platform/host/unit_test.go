package host_test

import (
	"bytes"
	"context"
	"errors"
	"net"
	"testing"
	"time"

	"google.golang.org/grpc"
	testgrpc "google.golang.org/grpc/interop/grpc_testing"

	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/platform/testkit"
)

const call = "/grpc.testing.TestService/UnaryCall"

func tokens() *identity.Tokens {
	return identity.NewTokens(bytes.Repeat([]byte("k"), identity.MinKeyBytes), clock.System())
}

// greeter answers every call with its name.
type greeter struct {
	testgrpc.UnimplementedTestServiceServer
	name string
}

func (g greeter) UnaryCall(context.Context, *testgrpc.SimpleRequest) (*testgrpc.SimpleResponse, error) {
	return &testgrpc.SimpleResponse{Username: g.name}, nil
}

func listen(t *testing.T, address string) net.Listener {
	t.Helper()
	lis, err := net.Listen("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	return lis
}

// start brings up a greeter on the listener.
func start(t *testing.T, name string, lis net.Listener, closed chan<- string) *host.Unit {
	t.Helper()
	u, err := host.Start(t.Context(), host.Setup{
		Name: name, Listener: lis,
		Host: &host.Host{Log: quiet(), Clock: clock.System(), Tokens: tokens()},
		Bind: func(_ context.Context, h *host.Host) error {
			testgrpc.RegisterTestServiceServer(h.Registrar, greeter{name: name})
			h.AddPolicy(rpc.Policy{call: identity.Roles()})
			h.OnClose(func(context.Context) error { closed <- name; return nil })
			return nil
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	return u
}

func stop(t *testing.T, u *host.Unit) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	if err := u.Stop(ctx); err != nil {
		t.Errorf("Stop: %v", err)
	}
	if err := u.Err(); err != nil {
		t.Errorf("Err after Stop: %v", err)
	}
}

// ask calls the service and returns the name it answers with.
func ask(t *testing.T, conn *grpc.ClientConn) (string, error) {
	t.Helper()
	resp, err := testgrpc.NewTestServiceClient(conn).UnaryCall(testkit.Context(t, testkit.Coop()), nil)
	return resp.GetUsername(), err
}

func TestOneServiceOfTwoRestartsAlone(t *testing.T) {
	t.Parallel()
	closed := make(chan string, 3)
	harvest := start(t, "harvest", listen(t, "127.0.0.1:0"), closed)
	order := start(t, "order", listen(t, "127.0.0.1:0"), closed)
	peers := host.NewPeers(map[string]string{"harvest": harvest.Addr().String(), "order": order.Addr().String()},
		rpc.DialOptions{Tokens: tokens(), Repeatable: []string{call}})
	conns := map[string]*grpc.ClientConn{}
	for _, name := range []string{"harvest", "order"} {
		conn, err := peers.Dial(name)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := peers.Dial(name); err != nil || again != conn {
			t.Errorf("a second connection to %s was made (error %v)", name, err)
		}
		conns[name] = conn
		if got, err := ask(t, conn); err != nil || got != name {
			t.Errorf("%s answers %q, %v", name, got, err)
		}
	}

	stop(t, harvest)
	if got := <-closed; got != "harvest" {
		t.Errorf("%s was closed", got)
	}
	if _, err := ask(t, conns["harvest"]); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("a stopped service: %v", err)
	}
	if got, err := ask(t, conns["order"]); err != nil || got != "order" {
		t.Errorf("order, which was not stopped, answers %q, %v", got, err)
	}

	harvest = start(t, "harvest", listen(t, harvest.Addr().String()), closed)
	testkit.Eventually(t, "the old connection finds the restarted service", func() bool {
		got, err := ask(t, conns["harvest"])
		return err == nil && got == "harvest"
	})
	if err := peers.Close(); err != nil {
		t.Errorf("close the connections: %v", err)
	}
	if _, err := peers.Dial("order"); err == nil {
		t.Error("dialled after Close")
	}
	stop(t, harvest)
	stop(t, order)
	stop(t, order)
}

func TestPeersNameTheConfigured(t *testing.T) {
	t.Parallel()
	peers := host.NewPeers(map[string]string{"order": "10.0.0.7:1", "harvest": ":1"}, rpc.DialOptions{Tokens: tokens()})
	if _, err := peers.Dial("gateway"); err == nil || err.Error() != "dial gateway: its address is not configured; configured are: harvest, order" {
		t.Errorf("error %v", err)
	}
	if _, err := peers.Dial("order"); !errors.Is(err, rpc.ErrNeedsTLS) {
		t.Errorf("error %v", err)
	}
}

func TestStartThatFailsClosesEverything(t *testing.T) {
	t.Parallel()
	refused := errors.New("refused")
	for name, bind := range map[string]func(*host.Host) error{
		"bind fails":            func(*host.Host) error { return refused },
		"a part does not start": func(h *host.Host) error { _ = h.Run(&part{diary: &[]string{}, startErr: refused}); return nil },
	} {
		lis := listen(t, "127.0.0.1:0")
		closed := false
		u, err := host.Start(t.Context(), host.Setup{
			Name: "harvest", Listener: lis, Host: &host.Host{Log: quiet(), Tokens: tokens()},
			Bind: func(_ context.Context, h *host.Host) error {
				h.OnClose(func(context.Context) error { closed = true; return nil })
				return bind(h)
			},
		})
		if u != nil || !errors.Is(err, refused) {
			t.Errorf("%s: %v, %v", name, u, err)
		}
		if !closed {
			t.Errorf("%s: the host stays open", name)
		}
		if _, err := lis.Accept(); !errors.Is(err, net.ErrClosed) {
			t.Errorf("%s: the listener stays open (%v)", name, err)
		}
	}
}

func TestBrokenListenerEndsTheUnit(t *testing.T) {
	t.Parallel()
	closed := make(chan string, 1)
	lis := listen(t, "127.0.0.1:0")
	u := start(t, "harvest", lis, closed)
	conn, err := rpc.Dial(u.Addr().String(), rpc.DialOptions{Tokens: tokens()})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	if _, err := ask(t, conn); err != nil {
		t.Fatal(err)
	}
	if err := lis.Close(); err != nil {
		t.Fatal(err)
	}
	<-u.Done()
	if u.Err() == nil {
		t.Error("the unit ended without a reason")
	}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	if err := u.Stop(ctx); err != nil {
		t.Errorf("Stop: %v", err)
	}
	<-closed
}
