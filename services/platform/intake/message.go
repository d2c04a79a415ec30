package intake

import (
	"fmt"
	"strings"
	"time"
	"unicode"

	"github.com/nats-io/nats.go/jetstream"
)

// Message is what an instrument published.
type Message struct {
	ID      string // of the bus: stream and place in it
	Path    string // the topic as published
	Topic   Topic
	Payload []byte
	At      time.Time // when the bus took it, UTC
	Values  []Value   // at least one
}

// read takes a message of the bus apart. Where that fails the message still
// says where it came from as far as can be told.
func read(m jetstream.Msg) (Message, error) {
	meta, err := m.Metadata()
	if err != nil {
		return Message{}, fmt.Errorf("metadata: %w", err)
	}
	subject := strings.TrimPrefix(m.Subject(), prefixAcknowledged)
	out := Message{
		ID: fmt.Sprintf("%s:%d:%d", meta.Stream, meta.Timestamp.UnixNano(), meta.Sequence.Stream), Path: slashed(subject),
		Payload: m.Data(), At: meta.Timestamp.UTC(),
	}
	if out.Topic, err = parseSubject(subject); err != nil {
		return out, err
	}
	out.Values, err = parsePayload(m.Data(), out.At)
	return out, err
}

// elsewhere reports whether a message stands in the other stream as well, where
// it was acknowledged: this copy only passed by.
func elsewhere(m jetstream.Msg) bool {
	qos := m.Headers().Get(publishedQoS)
	return !strings.HasPrefix(m.Subject(), prefixAcknowledged) && qos != "" && qos != "0"
}

// shown is the beginning of a payload as text.
func shown(payload []byte) string {
	text := strings.ToValidUTF8(string(payload[:min(len(payload), shownPayload)]), "\uFFFD")
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return '\uFFFD'
		}
		return r
	}, text)
}
