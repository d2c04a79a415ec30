package bus

import (
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
)

// Headers of every event. The ce- ones are the CloudEvents 1.0 context
// attributes with the prefix that its NATS protocol binding gives them;
// ce-sequence is the CloudEvents "sequence" extension, a decimal count per
// service and co-op from 1. traceparent is W3C Trace Context.
const (
	HeaderSpecVersion = "ce-specversion"
	HeaderID          = "ce-id"
	HeaderType        = "ce-type"
	HeaderSource      = "ce-source"
	HeaderTime        = "ce-time"
	HeaderSequence    = "ce-sequence"
	HeaderAggregate   = "ce-subject"
	HeaderTrace       = "traceparent"
	HeaderContentType = "content-type"
	specVersion       = "1.0"
	contentType       = "application/protobuf"
	sourcePrefix      = "/breakshare/"
)

// Headers of a dead letter, besides those of the event itself.
const (
	HeaderDeadReason   = "breakshare-dead-reason"   // what went wrong, for people
	HeaderDeadAttempts = "breakshare-dead-attempts" // how often it was tried
	HeaderDeadConsumer = "breakshare-dead-consumer" // the service that gave up
	HeaderDeadSubject  = "breakshare-dead-subject"  // where the event was published
	HeaderDeadCoop     = "breakshare-dead-coop"     // the co-op
)

// Event is one event on its way over the bus: what the subject and the headers
// say, and the payload.
type Event struct {
	Parts
	ID        string // UUID, also the Nats-Msg-Id
	Type      string // full name of the payload's message
	Aggregate string // id of the thing that changed; empty when none
	Sequence  int64  // place among the co-op's events of the service, from 1
	Time      time.Time
	Trace     string // traceparent; empty when the change was not traced
	Payload   []byte
}

// Message puts the event into a message. It panics as Subject does.
func (e Event) Message() *nats.Msg {
	m := nats.NewMsg(Subject(e.CoopID, e.Service, e.Thing, e.What))
	m.Data = e.Payload
	m.Header.Set(nats.MsgIdHdr, e.ID)
	m.Header.Set(HeaderSpecVersion, specVersion)
	m.Header.Set(HeaderContentType, contentType)
	m.Header.Set(HeaderID, e.ID)
	m.Header.Set(HeaderType, e.Type)
	m.Header.Set(HeaderSource, sourcePrefix+e.Service)
	m.Header.Set(HeaderTime, e.Time.UTC().Format(time.RFC3339Nano))
	m.Header.Set(HeaderSequence, strconv.FormatInt(e.Sequence, 10))
	if e.Aggregate != "" {
		m.Header.Set(HeaderAggregate, e.Aggregate)
	}
	if e.Trace != "" {
		m.Header.Set(HeaderTrace, e.Trace)
	}
	return m
}

// ParseEvent reads an event back from a message's subject, headers and data.
// The error names the header that is missing or malformed.
func ParseEvent(subject string, h nats.Header, data []byte) (Event, error) {
	p, err := ParseSubject(subject)
	if err != nil {
		return Event{}, err
	}
	e := Event{
		Parts: p, ID: h.Get(HeaderID), Type: h.Get(HeaderType),
		Aggregate: h.Get(HeaderAggregate), Trace: h.Get(HeaderTrace), Payload: data,
	}
	if e.ID == "" || e.Type == "" {
		return Event{}, fmt.Errorf("bus: message on %s lacks %s or %s", subject, HeaderID, HeaderType)
	}
	if got := h.Get(HeaderSource); got != sourcePrefix+p.Service {
		return Event{}, fmt.Errorf("bus: message on %s says %s %q, its subject says %q", subject, HeaderSource, got, p.Service)
	}
	if e.Sequence, err = strconv.ParseInt(h.Get(HeaderSequence), 10, 64); err != nil || e.Sequence < 1 {
		return Event{}, fmt.Errorf("bus: message on %s: %s %q is not a count from 1", subject, HeaderSequence, h.Get(HeaderSequence))
	}
	if e.Time, err = time.Parse(time.RFC3339Nano, h.Get(HeaderTime)); err != nil {
		return Event{}, fmt.Errorf("bus: message on %s: %s: %w", subject, HeaderTime, err)
	}
	return e, nil
}
