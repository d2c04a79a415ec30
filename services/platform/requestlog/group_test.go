package requestlog_test

import (
	"context"
	"errors"
	"testing"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/testkit"
)

// What a group has answered, a call by itself gets again; a group with a
// request that came before is not committed.
func TestGroupsAndSingleCallsShareTheLog(t *testing.T) {
	t.Parallel()
	p, coop := pool(t), testkit.Coop()
	ctx := testkit.Context(t, coop)
	settle := func(ids ...string) error {
		return pg.InTx(ctx, p, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
			var calls []requestlog.Call
			var answers []proto.Message
			for _, id := range ids {
				calls = append(calls, requestlog.Call{Caller: coop, RequestID: id, Request: wrapperspb.String("body")})
				answers = append(answers, wrapperspb.String("in a group"))
			}
			return requestlog.Settle(ctx, tx, calls, answers)
		})
	}
	before, a, b, c := ids.New(), ids.New(), ids.New(), ids.New()
	if _, err := ask(ctx, p, before, "body", "alone"); err != nil {
		t.Fatal(err)
	}
	if err := settle(b, a); err != nil {
		t.Fatal(err)
	}
	for _, known := range []string{before, a} {
		if err := settle(c, known); !errors.Is(err, requestlog.ErrKnown) {
			t.Errorf("a group with a known request: %v", err)
		}
	}
	for id, want := range map[string]string{before: "alone", a: "in a group", b: "in a group", c: "anew"} {
		if got, err := ask(ctx, p, id, "body", "anew"); err != nil || got.GetValue() != want {
			t.Errorf("asked again: %v (%v), want %q", got, err, want)
		}
		if _, err := ask(ctx, p, id, "another body", "anew"); fault.FromStatus(err).Reason != requestlog.ReasonReused {
			t.Errorf("with another body: %v", err)
		}
	}
}
