package telemetry_test

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"net/http/httptest"
	"strings"
	"testing"

	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"go.opentelemetry.io/otel/trace"

	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/telemetry"
)

const coop = "0198a000-0000-7000-8000-000000000001"

func TestLogLineCarriesTraceAndCoop(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	log, err := telemetry.NewLogger(&out, "json", "")
	if err != nil {
		t.Fatal(err)
	}
	// The example of W3C Trace Context, section 3.2.2.5.
	traceID, err := trace.TraceIDFromHex("4bf92f3577b34da6a3ce929d0e0e4736")
	if err != nil {
		t.Fatal(err)
	}
	ctx := trace.ContextWithSpanContext(context.Background(), trace.NewSpanContext(trace.SpanContextConfig{
		TraceID: traceID, SpanID: trace.SpanID{1},
	}))
	ctx = identity.With(ctx, identity.Identity{CoopID: coop, Role: identity.Coordinator})
	log.With("service", "harvest").InfoContext(ctx, "picked", slog.Int("grams", 500))
	var line map[string]any
	if err := json.Unmarshal(out.Bytes(), &line); err != nil {
		t.Fatalf("%v in %s", err, out.String())
	}
	for key, want := range map[string]any{
		"trace_id": traceID.String(), "span_id": "0100000000000000", "coop": coop,
		"service": "harvest", "msg": "picked", "grams": 500.0, "level": "INFO",
	} {
		if line[key] != want {
			t.Errorf("%s = %v, want %v", key, line[key], want)
		}
	}
}

func TestLogLineWithoutContextHasNeither(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	log, err := telemetry.NewLogger(&out, "text", "warn")
	if err != nil {
		t.Fatal(err)
	}
	log.Info("too quiet for warn")
	log.Warn("heard")
	if s := out.String(); strings.Contains(s, "too quiet") || !strings.Contains(s, "msg=heard") ||
		strings.Contains(s, "trace_id") || strings.Contains(s, "coop") {
		t.Errorf("wrote %q", s)
	}
}

func TestRefuses(t *testing.T) {
	t.Parallel()
	for name, o := range map[string]telemetry.Options{
		"format": {LogFormat: "xml"},
		"level":  {LogLevel: "loud"},
		"trace":  {TraceOneIn: -1},
	} {
		if _, err := telemetry.Start(context.Background(), o); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestTracesAndMetrics(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	spans := tracetest.NewInMemoryExporter()
	tel, err := telemetry.Start(ctx, telemetry.Options{Service: "harvest", LogOutput: &bytes.Buffer{}, Exporter: spans})
	if err != nil {
		t.Fatal(err)
	}
	_, span := tel.Tracer.Tracer("test").Start(ctx, "pick")
	span.End()
	if got := spans.GetSpans(); len(got) != 1 || got[0].Name != "pick" || !strings.Contains(got[0].Resource.String(), "service.name=harvest") {
		t.Errorf("spans %v", got)
	}
	counter, err := tel.Meter.Meter("test").Int64Counter("breakshare.picks")
	if err != nil {
		t.Fatal(err)
	}
	counter.Add(ctx, 3)
	rec := httptest.NewRecorder()
	tel.Metrics.ServeHTTP(rec, httptest.NewRequest("GET", "/metrics", nil))
	body := rec.Body.String()
	if !strings.Contains(body, "breakshare_picks_total{") || !strings.Contains(body, "go_goroutines") {
		t.Errorf("metrics lack ours or the runtime's:\n%s", body)
	}
	if err := tel.Shutdown(ctx); err != nil {
		t.Errorf("Shutdown: %v", err)
	}
	if err := tel.Shutdown(ctx); err != nil {
		t.Errorf("second Shutdown: %v", err)
	}
}

func TestCollectorDownDoesNotHinderTheStart(t *testing.T) {
	t.Parallel()
	tel, err := telemetry.Start(context.Background(), telemetry.Options{
		LogOutput: &bytes.Buffer{}, OTLPEndpoint: "127.0.0.1:1", OTLPInsecure: true, TraceOneIn: 10,
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := tel.Shutdown(context.Background()); err != nil {
		t.Errorf("Shutdown with nothing to send: %v", err)
	}
}
