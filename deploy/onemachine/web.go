package onemachine

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"breakshare.example/gateway"
)

// web is the gateway's HTTP server.
type web struct {
	url    string
	server *http.Server
	done   chan error
}

// startGateway serves the gateway on its loopback address.
func (s *Stack) startGateway(ctx context.Context) error {
	closing := make(chan struct{})
	handler, err := gateway.Bind(ctx, gateway.Host{
		Log: s.o.Log.With("service", "gateway"), Clock: s.o.Clock, Tokens: s.tokens, Dial: s.peers.Dial,
		Local: Local(s.o.Settings.Data), Metrics: s.o.Metrics, Closing: closing,
	}, s.o.Settings.Gateway)
	if err != nil {
		return fmt.Errorf("bind gateway: %w", err)
	}
	listener, err := new(net.ListenConfig).Listen(ctx, "tcp", s.o.Settings.Listen)
	if err != nil {
		return fmt.Errorf("gateway: %w; choose another address with --listen", err)
	}
	w := &web{
		url:    "http://" + listener.Addr().String(),
		server: &http.Server{Handler: handler, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute},
		done:   make(chan error, 1),
	}
	// Live updates last as long as their pages: they end first, so that the others can finish.
	w.server.RegisterOnShutdown(func() { close(closing) })
	go func() { w.done <- w.server.Serve(listener) }()
	s.gateway = w
	return nil
}

// stop lets requests that run finish within ctx, then cuts them off.
func (w *web) stop(ctx context.Context) error {
	grace, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	err := w.server.Shutdown(grace)
	if errors.Is(err, context.DeadlineExceeded) {
		err = w.server.Close()
	}
	if served := <-w.done; !errors.Is(served, http.ErrServerClosed) {
		err = errors.Join(err, served)
	}
	return err
}
