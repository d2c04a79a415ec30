// Package suitetest brings the whole suite up for a test: its own database and bus, four
// services and the gateway. Only tests may import it.
package suitetest

import (
	"context"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"breakshare.example/deploy/onemachine"
	"breakshare.example/deploy/settings"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/testkit"
)

// Start brings up a suite that is stopped with the test. The services go by the clock.
func Start(t testing.TB, clk clock.Clock) *onemachine.Stack {
	t.Helper()
	s := settings.Default()
	s.Data = filepath.Join(testkit.Folder(t), "data")
	s.Listen = "127.0.0.1:0"
	s.PostgresURL = testkit.Postgres(t)
	log := slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}))
	stack, err := onemachine.Start(t.Context(), onemachine.Options{Settings: s, Clock: clk, Log: log, Unsafe: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		if err := stack.Stop(ctx); err != nil {
			t.Error(err)
		}
	})
	return stack
}
