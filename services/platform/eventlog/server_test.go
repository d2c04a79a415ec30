package eventlog_test

import (
	"context"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	"breakshare.example/services/platform/eventlog"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

// as returns a context that calls in the role, for the co-op of id.
func as(t *testing.T, id identity.Identity, role identity.Role) context.Context {
	return testkit.Context(t, identity.Identity{CoopID: id.CoopID, Role: role, FarmID: ids.New(), YardID: ids.New(), CustomerID: ids.New()})
}

func sequences(res *eventlogv1.ListEventsResponse) []int64 {
	var all []int64
	for _, e := range res.GetEvents() {
		all = append(all, e.GetSequence())
	}
	return all
}

func TestListEventsPagesThroughTheCoopsEvents(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop, other := testkit.Coop(), testkit.Coop()
	s.tell(t, coop, 1, 5)
	s.tell(t, other, 1, 2)
	ctx := as(t, coop, identity.Service)
	if res, err := s.client().ListEvents(ctx, &eventlogv1.ListEventsRequest{}); err != nil || len(res.GetEvents()) != 0 {
		t.Fatalf("before they are numbered: %v, %v; want no events", res, err)
	}
	relay := start(t, s.relay(t))
	s.awaitPublished(t, coop)
	stop(t, relay)
	for _, tc := range []struct {
		after int64
		limit int32
		want  []int64
	}{
		{0, 0, []int64{1, 2, 3, 4, 5}},
		{0, 2, []int64{1, 2}},
		{2, 2, []int64{3, 4}},
		{4, 10_000, []int64{5}},
		{5, 0, nil},
	} {
		res, err := s.client().ListEvents(ctx, &eventlogv1.ListEventsRequest{AfterSequence: tc.after, Limit: tc.limit})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(tc.want, sequences(res)); diff != "" {
			t.Errorf("after %d, limit %d (-want +got):\n%s", tc.after, tc.limit, diff)
		}
	}
	res, err := s.client().ListEvents(ctx, &eventlogv1.ListEventsRequest{AfterSequence: 2, Limit: 1})
	if err != nil {
		t.Fatal(err)
	}
	e := res.GetEvents()[0]
	var n wrapperspb.Int64Value
	if err := proto.Unmarshal(e.GetPayload(), &n); err != nil || n.Value != 3 {
		t.Errorf("payload = %v, %v; want 3", n.Value, err)
	}
	if !ids.Valid(e.GetId()) || e.GetType() != "google.protobuf.Int64Value" || e.GetThing() != "pick" || e.GetWhat() != "recorded" ||
		e.GetAggregate() != "room 4" || !e.GetTime().IsValid() || e.GetTraceparent() != "" {
		t.Errorf("event = %v", e)
	}
}

func TestListEventsKeepsAPageSmall(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop := testkit.Coop()
	big := wrapperspb.String(strings.Repeat("a", 600<<10))
	err := pg.InTx(testkit.Context(t, coop), s.owner, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		for range 3 {
			if err := outbox.Add(ctx, tx, outbox.Event{Thing: "pick", What: "recorded", Payload: big}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	start(t, s.relay(t))
	s.awaitPublished(t, coop)
	res, err := s.client().ListEvents(as(t, coop, identity.Service), &eventlogv1.ListEventsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]int64{1}, sequences(res)); diff != "" {
		t.Errorf("first page of events of 600 KiB (-want +got):\n%s", diff)
	}
	all, err := eventlog.Replay(s.conn, owner)(t.Context(), coop.CoopID, 1, 4)
	if err != nil || len(all) != 1 || all[0].Sequence != 2 {
		t.Errorf("Replay after 1 = %d events, %v; want the event 2 alone", len(all), err)
	}
}

func TestListEventsAnswersServicesAndOperatorsOnly(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop := testkit.Coop()
	direct := eventlog.NewServer(s.owner) // behind no policy
	for _, role := range identity.Roles() {
		want := codes.PermissionDenied
		if role == identity.Service || role == identity.Operator {
			want = codes.OK
		}
		ctx := as(t, coop, role)
		if _, err := s.client().ListEvents(ctx, &eventlogv1.ListEventsRequest{}); status.Code(err) != want {
			t.Errorf("%s: %v, want %v", role, err, want)
		}
		if _, err := direct.ListEvents(ctx, &eventlogv1.ListEventsRequest{}); status.Code(err) != want {
			t.Errorf("%s without the policy: %v, want %v", role, err, want)
		}
	}
	if _, err := direct.ListEvents(t.Context(), &eventlogv1.ListEventsRequest{}); status.Code(err) != codes.Unauthenticated {
		t.Errorf("without identity: %v, want Unauthenticated", err)
	}
}

func TestListEventsRefusesNegativeNumbers(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	ctx := as(t, testkit.Coop(), identity.Service)
	for field, req := range map[string]*eventlogv1.ListEventsRequest{"after_sequence": {AfterSequence: -1}, "limit": {Limit: -1}} {
		_, err := s.client().ListEvents(ctx, req)
		if status.Code(err) != codes.InvalidArgument || !strings.Contains(err.Error(), field) {
			t.Errorf("negative %s: %v, want InvalidArgument that names it", field, err)
		}
	}
}
