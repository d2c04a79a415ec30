package requestlog_test

import (
	"context"
	"errors"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/testkit"
)

func pool(t *testing.T) *pgxpool.Pool {
	t.Helper()
	return testkit.Pool(t, pg.Schema{Service: "asked"})
}

// tell writes a row, so that a test sees whether fn's effects are kept.
func tell(ctx context.Context, tx pgx.Tx, what string) error {
	const sql = `
		INSERT INTO outbox (coop_id, id, thing, what, aggregate, type, payload, time)
		VALUES ($1, $2, 'thing', $3, '', 'type', '', now())`
	_, err := tx.Exec(ctx, sql, identity.Must(ctx).CoopID, ids.New(), what)
	return err
}

func told(ctx context.Context, t *testing.T, p *pgxpool.Pool) []string {
	t.Helper()
	var all []string
	err := pg.InReadTx(ctx, p, identity.Must(ctx).CoopID, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT what FROM outbox ORDER BY ordinal`)
		if err != nil {
			return err
		}
		all, err = pgx.CollectRows(rows, pgx.RowTo[string])
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// ask sends one request whose handling tells and answers as given.
func ask(ctx context.Context, p *pgxpool.Pool, id, body, answer string) (*wrapperspb.StringValue, error) {
	return requestlog.Once(ctx, p, id, wrapperspb.String(body), new(wrapperspb.StringValue),
		func(ctx context.Context, tx pgx.Tx) (*wrapperspb.StringValue, error) {
			return wrapperspb.String(answer), tell(ctx, tx, answer)
		})
}

func TestSameRequestGetsTheFirstAnswer(t *testing.T) {
	t.Parallel()
	p, ctx, id := pool(t), testkit.Context(t, testkit.Coop()), ids.New()
	for _, answer := range []string{"first", "second"} {
		got, err := ask(ctx, p, id, "12 kg", answer)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(wrapperspb.String("first"), got, protocmp.Transform()); diff != "" {
			t.Errorf("answer (-want +got):\n%s", diff)
		}
	}
	if diff := cmp.Diff([]string{"first"}, told(ctx, t, p)); diff != "" {
		t.Errorf("effects (-want +got):\n%s", diff)
	}
}

func TestAnEmptyAnswerIsReplayed(t *testing.T) {
	t.Parallel()
	p, ctx, id := pool(t), testkit.Context(t, testkit.Coop()), ids.New()
	runs := 0
	for range 2 {
		_, err := requestlog.Once(ctx, p, id, wrapperspb.String("x"), new(emptypb.Empty),
			func(context.Context, pgx.Tx) (*emptypb.Empty, error) { runs++; return new(emptypb.Empty), nil })
		if err != nil {
			t.Fatal(err)
		}
	}
	if runs != 1 {
		t.Errorf("ran %d times, want 1", runs)
	}
}

func TestSameIDForAnotherRequestIsRefused(t *testing.T) {
	t.Parallel()
	coop := testkit.Coop()
	grower := identity.Identity{CoopID: coop.CoopID, Role: identity.Grower, FarmID: ids.New()}
	for name, again := range map[string]func(ctx context.Context, p *pgxpool.Pool, id string) error{
		"other body": func(ctx context.Context, p *pgxpool.Pool, id string) error {
			_, err := ask(ctx, p, id, "13 kg", "second")
			return err
		},
		"other method": func(ctx context.Context, p *pgxpool.Pool, id string) error {
			_, err := requestlog.Once(ctx, p, id, wrapperspb.Bytes([]byte("12 kg")), new(emptypb.Empty),
				func(ctx context.Context, tx pgx.Tx) (*emptypb.Empty, error) { return nil, tell(ctx, tx, "second") })
			return err
		},
		"other caller": func(ctx context.Context, p *pgxpool.Pool, id string) error {
			_, err := ask(identity.With(ctx, grower), p, id, "12 kg", "second")
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p, ctx, id := pool(t), testkit.Context(t, coop), ids.New()
			if _, err := ask(ctx, p, id, "12 kg", "first"); err != nil {
				t.Fatal(err)
			}
			err := again(ctx, p, id)
			var f *fault.Error
			if !errors.As(err, &f) || f.Kind != fault.Exists || f.Reason != requestlog.ReasonReused {
				t.Fatalf("got %v, want a fault Exists with reason %s", err, requestlog.ReasonReused)
			}
			if diff := cmp.Diff([]string{"first"}, told(ctx, t, p)); diff != "" {
				t.Errorf("effects (-want +got):\n%s", diff)
			}
		})
	}
}

func TestCoopsDoNotShareIDs(t *testing.T) {
	t.Parallel()
	p, id := pool(t), ids.New()
	for _, answer := range []string{"ours", "theirs"} {
		got, err := ask(testkit.Context(t, testkit.Coop()), p, id, "12 kg", answer)
		if err != nil {
			t.Fatal(err)
		}
		if got.GetValue() != answer {
			t.Errorf("got the answer %q, want %q", got.GetValue(), answer)
		}
	}
}

func TestAFailedRequestMayTryAgain(t *testing.T) {
	t.Parallel()
	p, ctx, id := pool(t), testkit.Context(t, testkit.Coop()), ids.New()
	broken := errors.New("yard closed")
	_, err := requestlog.Once(ctx, p, id, wrapperspb.String("12 kg"), new(wrapperspb.StringValue),
		func(ctx context.Context, tx pgx.Tx) (*wrapperspb.StringValue, error) {
			return nil, errors.Join(tell(ctx, tx, "lost"), broken)
		})
	if !errors.Is(err, broken) {
		t.Fatalf("got %v, want %v", err, broken)
	}
	if _, err := ask(ctx, p, id, "14 kg", "kept"); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"kept"}, told(ctx, t, p)); diff != "" {
		t.Errorf("effects (-want +got):\n%s", diff)
	}
}

// Several callers send one request at once: one handles it, the others wait
// for its answer.
func TestCallersAtOnceShareOneAnswer(t *testing.T) {
	t.Parallel()
	p, ctx, id := pool(t), testkit.Context(t, testkit.Coop()), ids.New()
	const callers = 4
	var wg sync.WaitGroup
	inside, finish := make(chan struct{}, callers), make(chan struct{})
	answers := make([]string, callers)
	for i := range callers {
		wg.Go(func() {
			got, err := requestlog.Once(ctx, p, id, wrapperspb.String("12 kg"), new(wrapperspb.StringValue),
				func(ctx context.Context, tx pgx.Tx) (*wrapperspb.StringValue, error) {
					inside <- struct{}{}
					<-finish
					return wrapperspb.String("shared"), tell(ctx, tx, "once")
				})
			if err != nil {
				t.Errorf("caller %d: %v", i, err)
				return
			}
			answers[i] = got.GetValue()
		})
	}
	<-inside
	testkit.Eventually(t, "the others to wait for the first", func() bool {
		var waiting int
		err := p.QueryRow(ctx, `
			SELECT count(*) FROM pg_stat_activity
			WHERE datname = current_database() AND wait_event_type = 'Lock'`).Scan(&waiting)
		return err == nil && waiting == callers-1
	})
	close(finish)
	wg.Wait()
	for i, a := range answers {
		if a != "shared" {
			t.Errorf("caller %d got %q", i, a)
		}
	}
	if diff := cmp.Diff([]string{"once"}, told(ctx, t, p)); diff != "" {
		t.Errorf("effects (-want +got):\n%s", diff)
	}
}

func TestARequestIDMustBeAUUID(t *testing.T) {
	t.Parallel()
	p, ctx := pool(t), testkit.Context(t, testkit.Coop())
	_, err := ask(ctx, p, "7", "12 kg", "never")
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != fault.Invalid || len(f.Fields) != 1 || f.Fields[0].Path != "request_id" {
		t.Errorf("got %v, want a fault Invalid about request_id", err)
	}
}
