// Package localnats owns the event bus of one machine: a NATS server with
// JetStream inside this process, its files in the data folder. No socket is
// open, but the one for instruments that speak MQTT where it is asked for.
package localnats

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// Options of a server. Folder is needed; other zero values are usable.
type Options struct {
	// Folder that holds the server's files; made when it is not there. One
	// server at a time may use it.
	Folder string
	// MaxStore bounds all streams together on disk, in bytes. Default 2 GiB.
	MaxStore int64
	// Quick leaves syncing to the operating system, every two minutes. Only for
	// tests and measurements: a power cut loses acknowledged messages.
	Quick bool
	// MQTT opens a listener for instruments; nil opens none.
	MQTT *MQTT
	// Log hears the server's warnings and errors. Default slog.Default().
	Log *slog.Logger
}

// Server is a running server.
type Server struct {
	nats  *server.Server
	login Login
}

const (
	defaultStore = 2 << 30
	startTimeout = 10 * time.Second
)

// Start starts a server and waits until it takes connections. It fails when
// Folder is missing or cannot be made, and when the server is not ready within
// 10 s or before ctx ends.
func Start(ctx context.Context, o Options) (*Server, error) {
	if o.Folder == "" {
		return nil, errors.New("localnats: no folder; give the folder that holds the bus's files")
	}
	if o.MaxStore == 0 {
		o.MaxStore = defaultStore
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	folder, err := filepath.Abs(o.Folder)
	if err != nil {
		return nil, fmt.Errorf("localnats: folder %s: %w", o.Folder, err)
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, fmt.Errorf("localnats: folder %s: %w", folder, err)
	}
	plain := server.Options{
		ServerName:        "breakshare",
		DontListen:        true,
		JetStream:         true,
		StoreDir:          folder,
		JetStreamMaxStore: o.MaxStore,
		SyncAlways:        !o.Quick,
		NoSigs:            true,
	}
	if o.MQTT != nil {
		return startMQTT(ctx, plain, o)
	}
	s, err := run(ctx, plain, o.Log)
	if err != nil {
		return nil, fmt.Errorf("localnats: folder %s: %w", folder, err)
	}
	return &Server{nats: s}, nil
}

// run starts a server with options and waits until it is ready.
func run(ctx context.Context, opts server.Options, log *slog.Logger) (*server.Server, error) {
	s, err := server.NewServer(&opts)
	if err != nil {
		return nil, err
	}
	s.SetLoggerV2(logger{log}, false, false, false)
	s.Start()
	if err := awaitReady(ctx, s); err != nil {
		s.Shutdown()
		s.WaitForShutdown()
		return nil, err
	}
	return s, nil
}

// awaitReady waits for the server in steps short enough to heed ctx.
func awaitReady(ctx context.Context, s *server.Server) error {
	ctx, cancel := context.WithTimeout(ctx, startTimeout)
	defer cancel()
	for !s.ReadyForConnections(100 * time.Millisecond) {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("server not ready: %w", err)
		}
	}
	if !s.JetStreamEnabled() {
		return errors.New("JetStream did not start; the server's log says why")
	}
	return nil
}

// NATS returns the server for bus.Options.InProcess.
func (s *Server) NATS() *server.Server { return s.nats }

// Login is as whom the suite itself connects; empty where the server asks
// nobody, which is so without MQTT.
func (s *Server) Login() Login { return s.login }

// Stop shuts the server down and waits for its files to be closed, or for ctx
// to end. Stopping twice is harmless.
func (s *Server) Stop(ctx context.Context) error {
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.nats.Shutdown()
		s.nats.WaitForShutdown()
	}()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("localnats: shutdown: %w", ctx.Err())
	}
}
