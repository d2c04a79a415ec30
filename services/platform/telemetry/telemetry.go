// Package telemetry sets up what a process tells about itself: log lines that
// carry trace and co-op, traces sent by OTLP where an endpoint is set, and
// metrics for Prometheus to fetch.
package telemetry

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracegrpc"
	otelprometheus "go.opentelemetry.io/otel/exporters/prometheus"
	"go.opentelemetry.io/otel/metric"
	"go.opentelemetry.io/otel/propagation"
	sdkmetric "go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"
)

// Options say what to tell and where. The zero value logs JSON from level info
// to standard error, keeps metrics for Prometheus and sends no traces.
type Options struct {
	Service string // name of this process, e.g. "breakshare" or "harvest"
	Version string

	LogFormat string    // "json" (default) or "text"
	LogLevel  string    // "debug", "info" (default), "warn", "error"
	LogOutput io.Writer // default os.Stderr

	// OTLPEndpoint is the host:port of a collector that takes traces by OTLP
	// over gRPC; empty sends none.
	OTLPEndpoint string
	// OTLPInsecure speaks to the collector without TLS.
	OTLPInsecure bool
	// TraceOneIn keeps one trace in so many; 0 and 1 keep all. A trace begun
	// elsewhere is kept as was decided there.
	TraceOneIn int
	// Exporter takes finished spans as well, for tests.
	Exporter sdktrace.SpanExporter
}

// Telemetry is what Start set up. Hand its parts to what needs them.
type Telemetry struct {
	Log     *slog.Logger
	Tracer  trace.TracerProvider
	Meter   metric.MeterProvider
	Metrics http.Handler // for Prometheus, usually at /metrics

	shutdown []func(context.Context) error
}

// Start sets everything up. It reaches for no network: a collector that is
// down costs its traces and log lines, not the start.
func Start(ctx context.Context, o Options) (*Telemetry, error) {
	if o.LogOutput == nil {
		o.LogOutput = os.Stderr
	}
	log, err := NewLogger(o.LogOutput, o.LogFormat, o.LogLevel)
	if err != nil {
		return nil, err
	}
	if o.TraceOneIn < 0 {
		return nil, fmt.Errorf("keep one trace in %d: give 1 for all, or more", o.TraceOneIn)
	}
	t := &Telemetry{Log: log}
	about := resource.NewSchemaless(
		attribute.String("service.name", o.Service),
		attribute.String("service.version", o.Version),
	)
	if err := t.startTraces(ctx, o, about); err != nil {
		return nil, err
	}
	if err := t.startMetrics(about); err != nil {
		return nil, errors.Join(err, t.Shutdown(ctx))
	}
	return t, nil
}

func (t *Telemetry) startTraces(ctx context.Context, o Options, about *resource.Resource) error {
	options := []sdktrace.TracerProviderOption{
		sdktrace.WithResource(about),
		sdktrace.WithSampler(sdktrace.ParentBased(sdktrace.TraceIDRatioBased(1 / float64(max(o.TraceOneIn, 1))))),
	}
	if o.OTLPEndpoint != "" {
		client := []otlptracegrpc.Option{otlptracegrpc.WithEndpoint(o.OTLPEndpoint)}
		if o.OTLPInsecure {
			client = append(client, otlptracegrpc.WithInsecure())
		}
		exporter, err := otlptracegrpc.New(ctx, client...)
		if err != nil {
			return fmt.Errorf("send traces to %s: %w", o.OTLPEndpoint, err)
		}
		options = append(options, sdktrace.WithBatcher(exporter))
	}
	if o.Exporter != nil {
		options = append(options, sdktrace.WithSyncer(o.Exporter))
	}
	provider := sdktrace.NewTracerProvider(options...)
	t.Tracer = provider
	t.shutdown = append(t.shutdown, provider.Shutdown)
	return nil
}

func (t *Telemetry) startMetrics(about *resource.Resource) error {
	// A registry of its own: what other libraries put into the default one is
	// not ours to publish, and two processes' worth can live in one test.
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	exporter, err := otelprometheus.New(otelprometheus.WithRegisterer(registry))
	if err != nil {
		return fmt.Errorf("offer metrics to Prometheus: %w", err)
	}
	provider := sdkmetric.NewMeterProvider(sdkmetric.WithResource(about), sdkmetric.WithReader(exporter))
	t.Meter = provider
	t.Metrics = promhttp.HandlerFor(registry, promhttp.HandlerOpts{Registry: registry})
	t.shutdown = append(t.shutdown, provider.Shutdown)
	return nil
}

// InstallGlobal makes this telemetry the process's own: the default logger,
// the OpenTelemetry providers, the W3C trace context on the wire. A main calls
// it once, before anything is made that measures; a test has no need to.
func (t *Telemetry) InstallGlobal() {
	slog.SetDefault(t.Log)
	otel.SetTracerProvider(t.Tracer)
	otel.SetMeterProvider(t.Meter)
	otel.SetTextMapPropagator(propagation.TraceContext{})
	otel.SetErrorHandler(otel.ErrorHandlerFunc(func(err error) { t.Log.Warn("telemetry", "error", err) }))
}

// Shutdown sends what is still waiting, within ctx, and ends everything but
// the log. It goes on past errors and returns them joined.
func (t *Telemetry) Shutdown(ctx context.Context) error {
	var errs []error
	for i := len(t.shutdown) - 1; i >= 0; i-- {
		errs = append(errs, t.shutdown[i](ctx))
	}
	t.shutdown = nil
	return errors.Join(errs...)
}
