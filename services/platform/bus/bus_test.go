package bus_test

import (
	"context"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go/jetstream"
	"go.uber.org/goleak"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/localnats"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func local(t *testing.T) *server.Server {
	t.Helper()
	s, err := localnats.Start(t.Context(), localnats.Options{Folder: t.TempDir(), Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
	return s.NATS()
}

func connect(t *testing.T, o bus.Options) *bus.Bus {
	t.Helper()
	b, err := bus.Connect(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.Close)
	return b
}

func TestConnectWantsOneServer(t *testing.T) {
	t.Parallel()
	for name, o := range map[string]bus.Options{
		"neither": {},
		"both":    {URL: "nats://127.0.0.1:4222", InProcess: local(t)},
	} {
		if b, err := bus.Connect(t.Context(), o); err == nil {
			b.Close()
			t.Errorf("%s: Connect succeeded", name)
		}
	}
}

func TestEnsureMakesBothStreamsAndChangesTheirLimits(t *testing.T) {
	t.Parallel()
	s := local(t)
	b := connect(t, bus.Options{InProcess: s})
	for range 2 { // the second call changes nothing
		if err := b.Ensure(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	later := connect(t, bus.Options{InProcess: s, MaxAge: time.Hour, DedupeWindow: time.Minute})
	if err := later.Ensure(t.Context()); err != nil {
		t.Fatal(err)
	}
	events := config(t, later, bus.Stream)
	if events.MaxAge != time.Hour || events.Duplicates != time.Minute || events.Storage != jetstream.FileStorage {
		t.Errorf("stream of events: age %v, window %v, storage %v; want 1h, 1m, File", events.MaxAge, events.Duplicates, events.Storage)
	}
	dead := config(t, later, bus.DeadStream)
	if dead.MaxAge != 0 || dead.Discard != jetstream.DiscardNew {
		t.Errorf("dead letters: age %v, discard %v; want no limit of age and new ones refused", dead.MaxAge, dead.Discard)
	}
}

func config(t *testing.T, b *bus.Bus, name string) jetstream.StreamConfig {
	t.Helper()
	s, err := b.JetStream().Stream(t.Context(), name)
	if err != nil {
		t.Fatal(err)
	}
	return s.CachedInfo().Config
}

// A second copy with the same id is dropped inside the window, and an event of
// the largest size allowed still fits with its headers.
func TestStreamTakesAnEventOnceAndAtItsLargest(t *testing.T) {
	t.Parallel()
	b := connect(t, bus.Options{InProcess: local(t)})
	if err := b.Ensure(t.Context()); err != nil {
		t.Fatal(err)
	}
	e := event()
	e.Payload = make([]byte, bus.MaxPayload)
	for i, wantDuplicate := range []bool{false, true} {
		ack, err := b.JetStream().PublishMsg(t.Context(), e.Message())
		if err != nil {
			t.Fatal(err)
		}
		if ack.Stream != bus.Stream || ack.Duplicate != wantDuplicate {
			t.Errorf("publish %d: stream %s, duplicate %v; want %s, %v", i+1, ack.Stream, ack.Duplicate, bus.Stream, wantDuplicate)
		}
	}
}
