package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"net"

	"breakshare.example/deploy/onemachine"
	"breakshare.example/deploy/settings"
	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/rpc"
)

func runServe(ctx context.Context, args []string, std streams) int {
	var c common
	flags := flag.NewFlagSet("serve", flag.ContinueOnError)
	c.register(flags)
	rest, code, ok := parse(flags, args, std, "SERVICE")
	if !ok {
		return code
	}
	s, err := c.settings()
	if err == nil {
		err = checkServe(rest[0], s)
	}
	if err != nil {
		fmt.Fprintf(std.err, "breakshare serve: %v\n", err)
		return 2
	}
	return ended(ctx, std, "serve", serveOne(ctx, rest[0], s, std))
}

// checkServe refuses settings under which one service alone cannot work.
func checkServe(name string, s settings.Settings) error {
	if _, err := onemachine.Binder(name, s); err != nil {
		return err
	}
	var missing []error
	if s.PostgresURL == "" {
		missing = append(missing, errors.New("postgres_url is empty: a service alone needs a PostgreSQL that it shares with the others"))
	}
	if s.NATSURL == "" {
		missing = append(missing, errors.New("nats_url is empty: a service alone needs a NATS that it shares with the others"))
	}
	for _, service := range onemachine.Services() {
		if s.Addresses[service] == "" {
			missing = append(missing, fmt.Errorf("addresses.%s is empty: say where it listens, for example \"127.0.0.1:7001\"", service))
		}
	}
	return errors.Join(missing...)
}

// serveOne runs one service until ctx ends.
func serveOne(ctx context.Context, name string, s settings.Settings, std streams) (err error) {
	tel, err := startTelemetry(ctx, name, s, std)
	if err != nil {
		return err
	}
	var stops []func(context.Context) error
	defer func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
		defer cancel()
		for i := len(stops) - 1; i >= 0; i-- {
			err = errors.Join(err, stops[i](ctx))
		}
		err = errors.Join(err, tel.Shutdown(ctx))
	}()

	tokens, err := onemachine.Tokens(s, clock.System())
	if err != nil {
		return err
	}
	serverTLS, clientTLS, err := s.TLS.Load()
	if err != nil {
		return err
	}
	connected, err := bus.Connect(ctx, bus.Options{URL: s.NATSURL, Log: tel.Log, Name: name})
	if err != nil {
		return err
	}
	stops = append(stops, func(context.Context) error { connected.Close(); return nil })
	if err := connected.Ensure(ctx); err != nil {
		return err
	}
	peers := host.NewPeers(s.Addresses, rpc.DialOptions{Tokens: tokens, Caller: name, Log: tel.Log, TLS: clientTLS})
	stops = append(stops, func(context.Context) error { return peers.Close() })

	bind, err := onemachine.Binder(name, s)
	if err != nil {
		return err
	}
	listener, err := new(net.ListenConfig).Listen(ctx, "tcp", s.Addresses[name])
	if err != nil {
		return err
	}
	unit, err := host.Start(ctx, host.Setup{
		Name:     name,
		Host:     &host.Host{Log: tel.Log, Clock: clock.System(), Tokens: tokens, PostgresURL: s.PostgresURL, Bus: connected, Dial: peers.Dial, Meter: tel.Meter, Instruments: s.MQTT.On()},
		Server:   rpc.ServerOptions{TLS: serverTLS},
		Listener: listener,
		Bind:     bind,
	})
	if err != nil {
		return err
	}
	stops = append(stops, unit.Stop)
	select {
	case <-ctx.Done():
		return nil
	case <-unit.Done():
		return unit.Err()
	}
}
