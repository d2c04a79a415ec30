package host

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5/pgxpool"
	"go.opentelemetry.io/otel"

	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	"breakshare.example/services/platform/eventlog"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
)

// relayConns is how many connections a relay's pool may open: one that holds
// the lock and does all the work, one to spare while it reconnects.
const relayConns = 2

// Store prepares the service's schema, opens its pool of at most maxConns
// connections, registers the service's event log, starts the relay of its
// outbox (unless PauseRelay), and makes its health depend on the database. All
// of it is closed with the host; the pool after everything that was run since,
// because it came before. Call it once per host, before serving.
func (h *Host) Store(ctx context.Context, schema pg.Schema, maxConns int32) (*pgxpool.Pool, error) {
	access, err := pg.Prepare(ctx, h.PostgresURL, schema)
	if err != nil {
		return nil, fmt.Errorf("prepare the store of %s: %w", schema.Service, err)
	}
	pool, err := h.open(ctx, schema.Service, access.ServiceURL, maxConns)
	if err != nil {
		return nil, fmt.Errorf("open the store of %s: %w", schema.Service, err)
	}
	h.AddHealth(schema.Service+".postgres", pool.Ping)
	h.eventLog = eventlog.NewServer(pool)
	eventlogv1.RegisterEventLogServiceServer(h.Registrar, h.eventLog)
	h.AddPolicy(eventlog.Policy())
	if h.PauseRelay {
		return pool, nil
	}
	relayPool, err := h.open(ctx, schema.Service+"_relay", access.RelayURL, relayConns)
	if err != nil {
		return nil, fmt.Errorf("open the outbox of %s: %w", schema.Service, err)
	}
	relay, err := outbox.NewRelay(relayPool, h.Bus, schema.Service, h.Log, outbox.RelayOptions{})
	if err != nil {
		return nil, fmt.Errorf("make the relay of %s: %w", schema.Service, err)
	}
	if err := h.Run(relay); err != nil {
		return nil, err
	}
	return pool, nil
}

// open opens a pool that is measured, and closed with the host.
func (h *Host) open(ctx context.Context, name, url string, maxConns int32) (*pgxpool.Pool, error) {
	pool, err := pg.Open(ctx, url, maxConns)
	if err != nil {
		return nil, err
	}
	h.OnClose(func(context.Context) error { pool.Close(); return nil })
	meters := h.Meter
	if meters == nil {
		meters = otel.GetMeterProvider()
	}
	stop, err := pg.Observe(meters.Meter("breakshare.example/services/platform/host"), name, pool)
	if err != nil {
		return nil, fmt.Errorf("measure the pool: %w", err)
	}
	h.OnClose(func(context.Context) error { return stop() })
	return pool, nil
}
