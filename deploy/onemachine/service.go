package onemachine

import (
	"context"
	"fmt"
	"net"

	"breakshare.example/deploy/settings"
	"breakshare.example/services/compostlot"
	"breakshare.example/services/harvest"
	"breakshare.example/services/order"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/scheduling"
)

// Services names the services in the order in which they are started.
func Services() []string { return []string{"scheduling", "compostlot", "harvest", "order"} }

// Binder returns the Bind of a service with its section of the settings.
func Binder(name string, s settings.Settings) (func(context.Context, *host.Host) error, error) {
	switch name {
	case "scheduling":
		return func(ctx context.Context, h *host.Host) error { return scheduling.Bind(ctx, h, s.Scheduling) }, nil
	case "compostlot":
		return func(ctx context.Context, h *host.Host) error { return compostlot.Bind(ctx, h, s.Compostlot) }, nil
	case "harvest":
		return func(ctx context.Context, h *host.Host) error { return harvest.Bind(ctx, h, s.Harvest) }, nil
	case "order":
		return func(ctx context.Context, h *host.Host) error { return order.Bind(ctx, h, s.Order) }, nil
	default:
		return nil, fmt.Errorf("there is no service %q; there are %v", name, Services())
	}
}

// StartService brings one service up, again after StopService.
func (s *Stack) StartService(ctx context.Context, name string) error {
	bind, err := Binder(name, s.o.Settings)
	if err != nil {
		return err
	}
	listener := s.reserved[name]
	delete(s.reserved, name)
	if listener == nil {
		if listener, err = new(net.ListenConfig).Listen(ctx, "tcp", s.ports[name]); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	unit, err := host.Start(ctx, host.Setup{
		Name: name,
		Host: &host.Host{
			Log: s.o.Log.With("service", name), Clock: s.o.Clock, Tokens: s.tokens, PostgresURL: s.postgresURL,
			Bus: s.bus, Dial: s.peers.Dial, PauseRelay: s.o.PauseRelays, Meter: s.o.Meter,
			Instruments: s.o.Settings.MQTT.On(),
		},
		Server:   rpc.ServerOptions{},
		Listener: listener,
		Bind:     bind,
	})
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.units[name] = unit
	return nil
}

// StopService stops one service and leaves the others running. Stopping a service that does
// not run is harmless.
func (s *Stack) StopService(ctx context.Context, name string) error {
	s.mu.Lock()
	unit := s.units[name]
	delete(s.units, name)
	s.mu.Unlock()
	if unit == nil {
		return nil
	}
	return unit.Stop(ctx)
}

// PauseRelays decides whether services that are started from now on publish what they commit.
// Only for tests.
func (s *Stack) PauseRelays(pause bool) { s.o.PauseRelays = pause }
