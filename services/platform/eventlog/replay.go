package eventlog

import (
	"context"
	"fmt"

	"google.golang.org/grpc"

	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/inbox"
)

// Replay returns the inbox.Replay that asks the owner of source over conn, a
// connection of rpc.Dial to that service: it calls in the name of the co-op,
// in the role of a service.
func Replay(conn grpc.ClientConnInterface, source string) inbox.Replay {
	client := eventlogv1.NewEventLogServiceClient(conn)
	return func(ctx context.Context, coopID string, after, before int64) ([]inbox.Message, error) {
		limit := min(before-after-1, maxLimit)
		if limit < 1 {
			return nil, nil
		}
		ctx = identity.With(ctx, identity.Identity{CoopID: coopID, Role: identity.Service})
		res, err := client.ListEvents(ctx, &eventlogv1.ListEventsRequest{AfterSequence: after, Limit: int32(limit)})
		if err != nil {
			return nil, fmt.Errorf("event log of %s: %w", source, err)
		}
		messages := make([]inbox.Message, 0, len(res.GetEvents()))
		for _, e := range res.GetEvents() {
			messages = append(messages, inbox.Message{
				ID: e.GetId(), CoopID: coopID, Source: source, Type: e.GetType(), Thing: e.GetThing(), What: e.GetWhat(),
				Aggregate: e.GetAggregate(), Sequence: e.GetSequence(), Time: e.GetTime().AsTime(),
				Trace: e.GetTraceparent(), Payload: e.GetPayload(),
			})
		}
		return messages, nil
	}
}
