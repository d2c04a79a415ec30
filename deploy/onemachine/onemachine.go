// Package onemachine owns the suite on one machine: it starts PostgreSQL and the bus (or
// reaches those it is given), the four services, each with its own gRPC server on loopback,
// and the gateway, and stops them in reverse. Calls between the services are real gRPC, with
// interceptors and deadlines, as they are between machines.
package onemachine

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"sync"

	"go.opentelemetry.io/otel/metric"
	"google.golang.org/grpc"

	"breakshare.example/deploy/settings"
	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/intake"
	"breakshare.example/services/platform/localnats"
	"breakshare.example/services/platform/localpg"
	"breakshare.example/services/platform/rpc"
)

// Options say how the suite shall stand. Settings.Data is needed; other zero values are usable.
type Options struct {
	Settings settings.Settings
	// Clock tells the services the time. Default the system's.
	Clock clock.Clock
	// Log hears of starts, stops and calls. Default slog.Default().
	Log *slog.Logger
	// Meter measures; nil is the process-wide provider.
	Meter metric.MeterProvider
	// Metrics answers for Prometheus at /metrics of the gateway; nil for none.
	Metrics http.Handler
	// Unsafe gives up durability for speed. Only for tests.
	Unsafe bool
	// PauseRelays has the services commit events without publishing them. Only for tests.
	PauseRelays bool
}

// Stack is the running suite.
type Stack struct {
	o      Options
	tokens *identity.Tokens

	postgresURL string
	bus         *bus.Bus
	mqtt        string // address of the listener for instruments; empty without one
	peers       *host.Peers
	ports       map[string]string       // service to its address, kept over a restart
	reserved    map[string]net.Listener // until the service's first start
	gateway     *web

	mu    sync.Mutex
	units map[string]*host.Unit

	closers []func(context.Context) error // called in reverse
}

// Start brings everything up and returns when every service accepts calls. When it fails,
// whatever it began is stopped again.
func Start(ctx context.Context, o Options) (_ *Stack, err error) {
	if o.Clock == nil {
		o.Clock = clock.System()
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	s := &Stack{o: o, ports: make(map[string]string), reserved: make(map[string]net.Listener), units: make(map[string]*host.Unit)}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Stop(context.WithoutCancel(ctx)))
		}
	}()
	// Who calls is settled by real time, whatever time the services are told.
	if s.tokens, err = Tokens(o.Settings, clock.System()); err != nil {
		return nil, err
	}
	if err := s.startPostgres(ctx); err != nil {
		return nil, err
	}
	if err := s.startBus(ctx); err != nil {
		return nil, err
	}
	if err := s.reserve(ctx); err != nil {
		return nil, err
	}
	for _, name := range Services() {
		if err := s.StartService(ctx, name); err != nil {
			return nil, err
		}
	}
	if err := s.startGateway(ctx); err != nil {
		return nil, err
	}
	return s, s.writeAddresses()
}

// Stop stops everything in the reverse of the order it was started, and returns the errors
// joined.
func (s *Stack) Stop(ctx context.Context) error {
	var errs []error
	services := Services()
	if s.gateway != nil {
		errs = append(errs, s.gateway.stop(ctx))
	}
	for i := len(services) - 1; i >= 0; i-- {
		errs = append(errs, s.StopService(ctx, services[i]))
	}
	for _, l := range s.reserved {
		errs = append(errs, l.Close())
	}
	clear(s.reserved)
	for i := len(s.closers) - 1; i >= 0; i-- {
		errs = append(errs, s.closers[i](ctx))
	}
	s.closers = nil
	return errors.Join(errs...)
}

// Tokens mints and verifies the identities that this suite believes.
func (s *Stack) Tokens() *identity.Tokens { return s.tokens }

// Dial gives the connection to a service, shared: do not close it.
func (s *Stack) Dial(service string) (*grpc.ClientConn, error) { return s.peers.Dial(service) }

// Bus is the stack's own connection to the bus.
func (s *Stack) Bus() *bus.Bus { return s.bus }

// PostgresURL is the administrator's URL of the database.
func (s *Stack) PostgresURL() string { return s.postgresURL }

// URL is the address of the gateway, for example "http://127.0.0.1:8080".
func (s *Stack) URL() string { return s.gateway.url }

func (s *Stack) startPostgres(ctx context.Context) error {
	if s.o.Settings.PostgresURL != "" {
		s.postgresURL = s.o.Settings.PostgresURL
		return nil
	}
	cluster, err := localpg.Start(ctx, localpg.Options{
		Folder: filepath.Join(s.o.Settings.Data, "postgres"), Fetch: true, Unsafe: s.o.Unsafe, Log: s.o.Log, MaxConnections: 200,
	})
	if err != nil {
		return err
	}
	s.closers = append(s.closers, cluster.Stop)
	s.postgresURL = cluster.AdminURL()
	return nil
}

func (s *Stack) startBus(ctx context.Context) error {
	options := bus.Options{URL: s.o.Settings.NATSURL, Log: s.o.Log}
	if options.URL == "" {
		instruments, err := s.instruments()
		if err != nil {
			return err
		}
		server, err := localnats.Start(ctx, localnats.Options{
			Folder: filepath.Join(s.o.Settings.Data, "nats"), Quick: s.o.Unsafe, Log: s.o.Log, MQTT: instruments,
		})
		if err != nil {
			return err
		}
		s.closers = append(s.closers, server.Stop)
		login := server.Login()
		options.InProcess, options.User, options.Password = server.NATS(), login.User, login.Password
		if address := server.MQTTAddr(); address != nil {
			s.mqtt = address.String()
			s.o.Log.Info("instruments may publish readings over MQTT", "address", s.mqtt, "devices", len(instruments.Devices))
		}
	}
	connected, err := bus.Connect(ctx, options)
	if err != nil {
		return fmt.Errorf("bus: %w", err)
	}
	s.bus = connected
	s.closers = append(s.closers, func(context.Context) error { connected.Close(); return nil })
	return connected.Ensure(ctx)
}

// instruments is the listener that the settings ask for, before which the places stand where
// readings wait; nil for none.
func (s *Stack) instruments() (*localnats.MQTT, error) {
	listener, err := s.o.Settings.MQTT.Listener()
	if listener == nil || err != nil {
		return nil, err
	}
	listener.Prepare = func(ctx context.Context, server *localnats.Server) error {
		b, err := bus.Connect(ctx, bus.Options{InProcess: server.NATS(), Log: s.o.Log})
		if err != nil {
			return err
		}
		defer b.Close()
		return intake.Ensure(ctx, b, intake.Services()...)
	}
	return listener, nil
}

// MQTT is the address where instruments publish; empty where they do not.
func (s *Stack) MQTT() string { return s.mqtt }

// reserve picks an address for each service, which it keeps over restarts so that the others'
// connections find it again.
func (s *Stack) reserve(ctx context.Context) error {
	for _, name := range Services() {
		if address := s.o.Settings.Addresses[name]; address != "" {
			s.ports[name] = address
			continue
		}
		l, err := new(net.ListenConfig).Listen(ctx, "tcp", "127.0.0.1:0")
		if err != nil {
			return err
		}
		s.ports[name], s.reserved[name] = l.Addr().String(), l
	}
	s.peers = host.NewPeers(s.ports, rpc.DialOptions{Tokens: s.tokens, Caller: "onemachine", Log: s.o.Log})
	s.closers = append(s.closers, func(context.Context) error { return s.peers.Close() })
	return nil
}
