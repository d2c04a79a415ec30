// Package bus owns the connection to the event bus, the two streams the suite
// keeps there, the subjects and the headers of events. It knows no service:
// the outbox publishes through it and the inbox consumes through it.
//
// The bus is a courier and not a record. What must not be lost is in the
// outbox of the service that owns it.
package bus

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Names of the streams.
const (
	Stream     = "BREAKSHARE"      // every event, coop.>
	DeadStream = "BREAKSHARE_DEAD" // events that a service could not apply, dead.>
)

// Options say where the bus is and how its streams are kept. Exactly one of
// URL and InProcess is given; every other zero value is usable.
type Options struct {
	// URL of a NATS server or a comma-separated list of a cluster's, e.g.
	// "tls://bus.example:4222".
	URL string
	// InProcess is a server inside this process, reached without a socket.
	InProcess *server.Server
	// User and Password are as whom to connect; empty where the server asks nobody.
	User, Password string
	// CredentialsFile holds the user's credentials for URL; empty for none.
	CredentialsFile string
	// Name of this connection in the server's own reports. Default "breakshare".
	Name string
	// Log hears of lost and regained connections. Default slog.Default().
	Log *slog.Logger
	// StreamReplicas is the number of copies a cluster keeps, 1 to 5. Default 1.
	StreamReplicas int
	// MaxAge is how long the stream keeps an event. Default 30 days; older ones
	// are replayed from the owner.
	MaxAge time.Duration
	// MaxBytes bounds the stream of events on disk. Default 1 GiB; the oldest
	// events leave first and are replayed from the owner.
	MaxBytes int64
	// DedupeWindow is how long the bus knows an event's id and drops a second
	// copy. Default 10 minutes. It only saves work: the inbox is what makes an
	// event count once.
	DedupeWindow time.Duration
}

// Bus is a connection to the event bus. It is safe for use by many goroutines.
type Bus struct {
	opts Options
	conn *nats.Conn
	js   jetstream.JetStream
}

const publishTimeout = 5 * time.Second

// Connect opens the connection. It fails when neither or both of URL and
// InProcess are given, and when the server does not answer before ctx ends. A
// connection lost later is regained for as long as it takes.
func Connect(ctx context.Context, o Options) (*Bus, error) {
	if (o.URL == "") == (o.InProcess == nil) {
		return nil, errors.New("bus: give either a URL or a server in this process, not both and not neither")
	}
	o = o.withDefaults()
	conn, err := nats.Connect(o.URL, o.natsOptions()...)
	if err != nil {
		return nil, fmt.Errorf("bus: connect to %s: %w", o.where(), err)
	}
	js, err := jetstream.New(conn, jetstream.WithPublishAsyncTimeout(publishTimeout), jetstream.WithDefaultTimeout(publishTimeout))
	if err != nil {
		conn.Close()
		return nil, fmt.Errorf("bus: %w", err)
	}
	b := &Bus{opts: o, conn: conn, js: js}
	if _, err := js.AccountInfo(ctx); err != nil {
		b.Close()
		return nil, fmt.Errorf("bus: %s does not answer for JetStream; is it switched on there? %w", o.where(), err)
	}
	return b, nil
}

func (o Options) withDefaults() Options {
	if o.Name == "" {
		o.Name = "breakshare"
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.StreamReplicas == 0 {
		o.StreamReplicas = 1
	}
	if o.MaxAge == 0 {
		o.MaxAge = 30 * 24 * time.Hour
	}
	if o.MaxBytes == 0 {
		o.MaxBytes = 1 << 30
	}
	if o.DedupeWindow == 0 {
		o.DedupeWindow = 10 * time.Minute
	}
	return o
}

func (o Options) where() string {
	if o.InProcess != nil {
		return "the server in this process"
	}
	return o.URL
}

func (o Options) natsOptions() []nats.Option {
	opts := []nats.Option{
		nats.Name(o.Name),
		nats.MaxReconnects(-1),
		nats.ReconnectWait(500 * time.Millisecond),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil {
				o.Log.Warn("bus connection lost", "error", err)
			}
		}),
		nats.ReconnectHandler(func(c *nats.Conn) { o.Log.Info("bus connection regained", "server", c.ConnectedUrl()) }),
		nats.ErrorHandler(func(_ *nats.Conn, s *nats.Subscription, err error) {
			subject := ""
			if s != nil {
				subject = s.Subject
			}
			o.Log.Warn("bus error", "subject", subject, "error", err)
		}),
	}
	if o.InProcess != nil {
		opts = append(opts, nats.InProcessServer(o.InProcess))
	}
	if o.User != "" {
		opts = append(opts, nats.UserInfo(o.User, o.Password))
	}
	if o.CredentialsFile != "" {
		opts = append(opts, nats.UserCredentials(o.CredentialsFile))
	}
	return opts
}

// JetStream returns the streaming interface of the connection.
func (b *Bus) JetStream() jetstream.JetStream { return b.js }

// Connected reports whether the bus can be reached at this moment.
func (b *Bus) Connected() bool { return b.conn.IsConnected() }

// Close ends the connection at once; what was not acknowledged is published
// again by the relays.
func (b *Bus) Close() { b.conn.Close() }

// Reconnects returns how often the connection was lost and regained. A change
// means that the server may have lost messages it had acknowledged.
func (b *Bus) Reconnects() uint64 { return b.conn.Stats().Reconnects }
