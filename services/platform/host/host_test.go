package host_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"

	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/platform/testkit"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m, testkit.IgnoreCluster()) }

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// part is a Runner that writes down what happens to it.
type part struct {
	name     string
	diary    *[]string
	startErr error
	life     context.Context
}

func (p *part) Start(ctx context.Context) error {
	*p.diary = append(*p.diary, "start "+p.name)
	p.life = ctx
	return p.startErr
}

func (p *part) Started() <-chan struct{} {
	c := make(chan struct{})
	close(c)
	return c
}

func (p *part) Stop(context.Context) error {
	note := "stop " + p.name
	if p.life.Err() != nil {
		note += " too late"
	}
	*p.diary = append(*p.diary, note)
	return nil
}

func TestClosesInReverseOnce(t *testing.T) {
	t.Parallel()
	var diary []string
	h := &host.Host{Log: quiet()}
	broken := errors.New("disk full")
	h.OnClose(func(context.Context) error { diary = append(diary, "close pool"); return nil })
	relay := &part{name: "relay", diary: &diary}
	if err := h.Run(relay); err != nil {
		t.Fatal(err)
	}
	h.OnClose(func(context.Context) error { diary = append(diary, "close file"); return broken })
	if err := h.Run(&part{name: "consumer", diary: &diary}); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := h.Close(context.Background()); !errors.Is(err, broken) {
			t.Errorf("Close: %v, want the closer's error", err)
		}
	}
	want := []string{"start relay", "start consumer", "stop consumer", "close file", "stop relay", "close pool"}
	if diff := cmp.Diff(want, diary); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if relay.life.Err() == nil {
		t.Error("the parts' context outlives the host")
	}
	h.OnClose(func(context.Context) error { diary = append(diary, "late"); return nil })
	if !slices.Contains(diary, "late") {
		t.Error("what is handed to a closed host stays open")
	}
}

func TestRunTellsOfAPartThatDoesNotStart(t *testing.T) {
	t.Parallel()
	var diary []string
	h := &host.Host{Log: quiet()}
	refused := errors.New("refused")
	if err := h.Run(&part{name: "relay", diary: &diary, startErr: refused}); !errors.Is(err, refused) {
		t.Errorf("Run: %v", err)
	}
	if err := h.Close(context.Background()); err != nil {
		t.Errorf("Close: %v", err)
	}
	if diff := cmp.Diff([]string{"start relay"}, diary); diff != "" {
		t.Errorf("what did not start was stopped (-want +got):\n%s", diff)
	}
}

func TestPolicyIsKeptAndHandedOn(t *testing.T) {
	t.Parallel()
	server := rpc.NewServer(rpc.ServerOptions{Log: quiet(), Tokens: tokens()})
	h := &host.Host{Log: quiet(), Registrar: server}
	h.AddPolicy(rpc.Policy{"/a.B/C": {identity.Buyer}})
	h.AddPolicy(rpc.Policy{"/a.B/D": {identity.Grower}})
	want := rpc.Policy{"/a.B/C": {identity.Buyer}, "/a.B/D": {identity.Grower}}
	if diff := cmp.Diff(want, h.Policy()); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if err := server.CheckPolicy(); err == nil || !strings.Contains(err.Error(), "/a.B/D") {
		t.Errorf("the server did not hear of the policy: %v", err)
	}
}
