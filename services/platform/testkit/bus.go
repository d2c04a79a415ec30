package testkit

import (
	"context"
	"io"
	"log/slog"
	"testing"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/localnats"
)

// Bus gives an event bus with its streams, on a server that only this test has.
func Bus(t testing.TB) *bus.Bus {
	t.Helper()
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	server, err := localnats.Start(t.Context(), localnats.Options{Folder: t.TempDir(), Quick: true, Log: log})
	if err != nil {
		t.Fatalf("testkit: %v", err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		if err := server.Stop(ctx); err != nil {
			t.Errorf("testkit: %v", err)
		}
	})
	b, err := bus.Connect(t.Context(), bus.Options{InProcess: server.NATS(), Log: log})
	if err != nil {
		t.Fatalf("testkit: %v", err)
	}
	t.Cleanup(b.Close)
	if err := b.Ensure(t.Context()); err != nil {
		t.Fatalf("testkit: %v", err)
	}
	return b
}
