package fakecoop

import (
	"context"
	"slices"

	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	"breakshare.example/services/platform/fault"
)

// eventLog answers for every service, by the name under which it was dialled.
type eventLog struct {
	eventlogv1.UnimplementedEventLogServiceServer
	c *Coop
}

// asked is the service that a call is meant for.
func asked(ctx context.Context) string {
	md, _ := metadata.FromIncomingContext(ctx)
	if names := md.Get(":authority"); len(names) > 0 {
		return names[0]
	}
	return ""
}

// fillEvents has harvest and order read what others tell, order be three events behind harvest
// and have one dead letter.
func (c *Coop) fillEvents() {
	c.Standings = map[string]*eventlogv1.GetStandingResponse{
		"scheduling": {LastSequence: 40, Readings: []*eventlogv1.Reading{{Source: "harvest", LastSequence: 120}}},
		"harvest":    {LastSequence: 120, Unpublished: 1, OldestUnpublished: at(Today, 9), Readings: []*eventlogv1.Reading{{Source: "scheduling", LastSequence: 40}}},
		"order":      {LastSequence: 7, Readings: []*eventlogv1.Reading{{Source: "harvest", LastSequence: 118, DeadLetters: 1}, {Source: "scheduling", LastSequence: 40}}},
		"compostlot": {LastSequence: 3},
	}
	c.Dead = map[string][]*eventlogv1.DeadLetter{"order": {{
		EventId: "0190a1b2-0000-7000-8000-00000000dead", Source: "harvest", Sequence: 77, Type: "breakshare.harvest.v1.ExpectedPickPushed", Reason: "handler of breakshare.harvest.v1.ExpectedPickPushed: no such product", BuriedAt: at(Today, 8),
	}}}
}

func (e *eventLog) GetStanding(ctx context.Context, _ *eventlogv1.GetStandingRequest) (*eventlogv1.GetStandingResponse, error) {
	return read(e.c, "GetStanding", func() (*eventlogv1.GetStandingResponse, error) {
		return proto.CloneOf(e.c.Standings[asked(ctx)]), nil
	})
}

func (e *eventLog) ListDeadLetters(ctx context.Context, _ *eventlogv1.ListDeadLettersRequest) (*eventlogv1.ListDeadLettersResponse, error) {
	return read(e.c, "ListDeadLetters", func() (*eventlogv1.ListDeadLettersResponse, error) {
		return &eventlogv1.ListDeadLettersResponse{DeadLetters: slices.Clone(e.c.Dead[asked(ctx)])}, nil
	})
}

func (e *eventLog) RetryDeadLetter(ctx context.Context, req *eventlogv1.RetryDeadLetterRequest) (*eventlogv1.RetryDeadLetterResponse, error) {
	return once(e.c, "RetryDeadLetter", req, func() (*eventlogv1.RetryDeadLetterResponse, error) {
		service := asked(ctx)
		i := slices.IndexFunc(e.c.Dead[service], func(l *eventlogv1.DeadLetter) bool { return l.GetEventId() == req.GetEventId() })
		if i < 0 {
			return nil, notFound("dead letter", req.GetEventId())
		}
		if e.c.StillDead {
			return nil, fault.New(fault.Precondition, "FAILED_AGAIN", "the event fails again: no such product")
		}
		e.c.Dead[service] = slices.Delete(e.c.Dead[service], i, i+1)
		return &eventlogv1.RetryDeadLetterResponse{EventId: req.GetEventId(), Applied: true}, nil
	})
}

// Change changes what the co-op holds while it runs.
func (c *Coop) Change(fn func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	fn()
}
