// Package testkit gives tests real servers: a PostgreSQL database of their own,
// cloned from a template, and an event bus. Tests never skip for want of one.
// Only tests may import it.
package testkit

import (
	"context"
	"os"
	"testing"
	"time"

	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
)

// patience is how long Eventually and the set-up steps wait. It is generous:
// test machines are small and busy.
const patience = 30 * time.Second

// Context is the test's own context, ended when the test is, with a caller in
// it.
func Context(t testing.TB, id identity.Identity) context.Context {
	return identity.With(t.Context(), id)
}

// Coop is the coordinator of a co-op that no other test knows.
func Coop() identity.Identity {
	return identity.Identity{CoopID: ids.New(), Role: identity.Coordinator, Name: "Office"}
}

// Eventually waits until cond holds and fails the test when it does not within
// 30 s. Call it from the test's own goroutine.
func Eventually(t testing.TB, what string, cond func() bool) {
	t.Helper()
	deadline := time.NewTimer(patience)
	defer deadline.Stop()
	ticker := time.NewTicker(5 * time.Millisecond)
	defer ticker.Stop()
	for !cond() {
		select {
		case <-deadline.C:
			t.Fatalf("waited %s in vain for: %s", patience, what)
		case <-t.Context().Done():
			t.Fatalf("the test ended before: %s", what)
		case <-ticker.C:
		}
	}
}

// Folder is a folder that is removed with the test and that, unlike the one of
// testing, another account can reach: a private PostgreSQL runs as one when the
// tests run as root.
func Folder(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "breakshare-folder-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Errorf("testkit: %v", err)
		}
	})
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}
