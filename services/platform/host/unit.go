package host

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"

	"breakshare.example/services/platform/rpc"
)

// Setup is what it takes to bring up one service.
type Setup struct {
	// Name of the service, for errors and logs.
	Name string
	// Host as Bind shall see it, but for Registrar, which Start sets. A host
	// is used once: a restart takes a fresh one.
	Host *Host
	// Server options; Log and Tokens default to the host's.
	Server rpc.ServerOptions
	// Listener to serve on. Start owns it, also when it fails.
	Listener net.Listener
	// Bind registers the service and starts its parts.
	Bind func(ctx context.Context, h *Host) error
}

// Unit is one running service: server, listener and host.
type Unit struct {
	name   string
	host   *Host
	server *rpc.Server
	addr   net.Addr

	done     chan struct{}
	serveErr error // set before done closes

	stop    sync.Once
	stopErr error
}

// Start makes the server, binds the service and serves. When it returns nil
// the service accepts calls. When it fails, everything begun is closed again.
// ctx bounds the start only.
func Start(ctx context.Context, s Setup) (*Unit, error) {
	if s.Server.Log == nil {
		s.Server.Log = s.Host.Log
	}
	if s.Server.Tokens == nil {
		s.Server.Tokens = s.Host.Tokens
	}
	if s.Server.Meter == nil {
		s.Server.Meter = s.Host.Meter
	}
	u := &Unit{name: s.Name, host: s.Host, server: rpc.NewServer(s.Server), addr: s.Listener.Addr(), done: make(chan struct{})}
	s.Host.Registrar = u.server
	err := s.Bind(ctx, s.Host)
	if err == nil {
		err = s.Host.failure()
	}
	if err != nil {
		err = fmt.Errorf("bind %s: %w", s.Name, err)
		ctx = context.WithoutCancel(ctx)
		return nil, errors.Join(err, u.server.Stop(ctx), s.Listener.Close(), s.Host.Close(ctx))
	}
	go func() {
		defer close(u.done)
		u.serveErr = u.server.Serve(s.Listener)
	}()
	s.Host.Log.Info("service started", "service", s.Name, "address", u.addr.String())
	return u, nil
}

// Addr is where the service listens.
func (u *Unit) Addr() net.Addr { return u.addr }

// Done is closed when the service no longer accepts calls: by Stop, or
// because its listener broke; Err then tells.
func (u *Unit) Done() <-chan struct{} { return u.done }

// Err returns why serving ended, nil after Stop. It waits for Done.
func (u *Unit) Err() error {
	<-u.done
	return u.serveErr
}

// Stop takes no more calls, lets those that run finish for up to half of the
// time ctx leaves, then closes the host. Further calls wait for the first and
// return the same.
func (u *Unit) Stop(ctx context.Context) error {
	u.stop.Do(func() {
		grace, cancel := half(ctx)
		defer cancel()
		err := u.server.Stop(grace)
		<-u.done
		u.stopErr = errors.Join(err, u.host.Close(ctx))
		if u.stopErr != nil {
			u.stopErr = fmt.Errorf("stop %s: %w", u.name, u.stopErr)
		}
		u.host.Log.Info("service stopped", "service", u.name)
	})
	return u.stopErr
}

// half returns a context that ends when half of ctx's time is gone.
func half(ctx context.Context) (context.Context, context.CancelFunc) {
	due, ok := ctx.Deadline()
	if !ok {
		return context.WithCancel(ctx)
	}
	return context.WithTimeout(ctx, time.Until(due)/2)
}
