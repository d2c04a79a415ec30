package outbox_test

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

// Many events in one statement are told in the order given, all or none.
func TestAddAllKeepsTheOrder(t *testing.T) {
	t.Parallel()
	pool, coop := testkit.Pool(t, pg.Schema{Service: "told"}), testkit.Coop()
	ctx := testkit.Context(t, coop)
	add := func(events []outbox.Event) error {
		return pg.InTx(ctx, pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error { return outbox.AddAll(ctx, tx, events) })
	}
	var events []outbox.Event
	var want []string
	for i := range 200 {
		name := fmt.Sprintf("r-%d", (i*7)%200)
		events = append(events, outbox.Event{Thing: "room", What: "saved", Aggregate: name, Payload: wrapperspb.String(name)})
		want = append(want, name)
	}
	if err := add(events); err != nil {
		t.Fatal(err)
	}
	if err := add(append(events[:1:1], outbox.Event{Thing: "no subject", What: "saved", Payload: wrapperspb.String("")})); err == nil {
		t.Error("an event without a subject was taken")
	}
	if err := add(nil); err != nil {
		t.Errorf("nothing to tell: %v", err)
	}
	var got []string
	err := pg.InReadTx(ctx, pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT aggregate FROM outbox ORDER BY ordinal`)
		if err != nil {
			return err
		}
		got, err = pgx.CollectRows(rows, pgx.RowTo[string])
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if err := pg.InTx(context.Background(), pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		return outbox.AddAll(ctx, tx, events)
	}); !errors.Is(err, outbox.ErrNoCoop) {
		t.Errorf("without a caller: %v", err)
	}
}
