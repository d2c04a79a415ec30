// Package rpctest serves a gRPC service to a test, in memory but behind the interceptors that
// every service has, and walks its policy. Only tests may import it.
package rpctest

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"

	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/rpc"
)

// Serve brings up what register registers and returns a connection to it, which carries the
// identity in a call's context. Both end with the test.
func Serve(t testing.TB, policy rpc.Policy, register func(grpc.ServiceRegistrar)) *grpc.ClientConn {
	t.Helper()
	tokens := identity.NewTokens([]byte("a key that only this test knows of"), clock.System())
	log := slog.New(slog.DiscardHandler)
	server := rpc.NewServer(rpc.ServerOptions{Log: log, Tokens: tokens, Policy: policy})
	register(server)
	lis := bufconn.Listen(1 << 20)
	served := make(chan error, 1)
	go func() { served <- server.Serve(lis) }()
	conn, err := rpc.Dial("passthrough:///service", rpc.DialOptions{
		Tokens: tokens, Caller: "test", Log: log, Deadline: time.Minute,
		Dialer: func(ctx context.Context, _ string) (net.Conn, error) { return lis.DialContext(ctx) },
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := errors.Join(conn.Close(), server.Stop(context.Background()), <-served); err != nil {
			t.Error(err)
		}
	})
	return conn
}
