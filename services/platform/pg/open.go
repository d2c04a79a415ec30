package pg

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5/pgxpool"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/metric"
)

// Open opens a pool of at most maxConns connections (at least 1) and checks
// that the server answers. The caller closes the pool.
func Open(ctx context.Context, url string, maxConns int32) (*pgxpool.Pool, error) {
	if maxConns < 1 {
		return nil, fmt.Errorf("open PostgreSQL pool: maxConns is %d, must be at least 1", maxConns)
	}
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("open PostgreSQL pool: %w", err)
	}
	cfg.MaxConns = maxConns
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("open PostgreSQL pool: %w", err)
	}
	if err := pool.Ping(ctx); err != nil {
		pool.Close()
		return nil, fmt.Errorf("open PostgreSQL pool: %w", err)
	}
	return pool, nil
}

// Observe reports a pool's connections and waiting times under the given pool
// name until the returned function is called. Metric names follow the
// OpenTelemetry semantic conventions for database clients.
func Observe(meter metric.Meter, name string, pool *pgxpool.Pool) (stop func() error, err error) {
	count, err := meter.Int64ObservableUpDownCounter("db.client.connection.count",
		metric.WithUnit("{connection}"), metric.WithDescription("Connections of the pool by state"))
	if err != nil {
		return nil, fmt.Errorf("observe pool %s: %w", name, err)
	}
	limit, err := meter.Int64ObservableUpDownCounter("db.client.connection.max",
		metric.WithUnit("{connection}"), metric.WithDescription("Connections the pool may open"))
	if err != nil {
		return nil, fmt.Errorf("observe pool %s: %w", name, err)
	}
	waited, err := meter.Float64ObservableCounter("db.client.connection.wait_time.total",
		metric.WithUnit("s"), metric.WithDescription("Time spent waiting for a free connection"))
	if err != nil {
		return nil, fmt.Errorf("observe pool %s: %w", name, err)
	}
	pn := attribute.String("db.client.connection.pool.name", name)
	state := func(s string) metric.MeasurementOption {
		return metric.WithAttributes(pn, attribute.String("db.client.connection.state", s))
	}
	used, idle, only := state("used"), state("idle"), metric.WithAttributes(pn)
	reg, err := meter.RegisterCallback(func(_ context.Context, o metric.Observer) error {
		st := pool.Stat()
		o.ObserveInt64(count, int64(st.AcquiredConns()), used)
		o.ObserveInt64(count, int64(st.IdleConns()), idle)
		o.ObserveInt64(limit, int64(st.MaxConns()), only)
		o.ObserveFloat64(waited, st.EmptyAcquireWaitTime().Seconds(), only)
		return nil
	}, count, limit, waited)
	if err != nil {
		return nil, fmt.Errorf("observe pool %s: %w", name, err)
	}
	return reg.Unregister, nil
}
