package outbox_test

import (
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/metric/metricdata"

	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

// While the bus is away an operator sees how many events wait and for how
// long.
func TestMetricsShowWhatWaits(t *testing.T) {
	t.Parallel()
	reader := metric.NewManualReader()
	otel.SetMeterProvider(metric.NewMeterProvider(metric.WithReader(reader)))
	const measured = "measured" // other tests' relays have other names
	db := testkit.Prepared(t, pg.Schema{Service: measured})
	s := &stand{relayURL: db.RelayURL, pool: testkit.Open(t, db.ServiceURL), bus: testkit.Bus(t)}
	s.bus.Close()
	r, err := outbox.NewRelay(testkit.Open(t, db.RelayURL), s.bus, measured, nil, outbox.RelayOptions{Retry: 5 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	coop := testkit.Coop()
	s.tell(t, coop, 1, 3)
	start(t, r)
	testkit.Eventually(t, "three events wait, the oldest for some time", func() bool {
		waiting, _ := last[int64](t, reader, "breakshare.outbox.waiting", measured)
		lag, _ := last[float64](t, reader, "breakshare.outbox.lag", measured)
		return waiting == 3 && lag > 0
	})
	for _, row := range s.rows(t, coop) {
		if row.Published {
			t.Errorf("event %s is marked though the bus is away", row.ID)
		}
	}
	conn, err := pgx.Connect(t.Context(), db.RelayURL)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	if _, err := conn.Exec(t.Context(), `UPDATE outbox SET published_at = now()`); err != nil {
		t.Fatal(err)
	}
	testkit.Eventually(t, "nothing waits any more", func() bool {
		waiting, ok := last[int64](t, reader, "breakshare.outbox.waiting", measured)
		lag, _ := last[float64](t, reader, "breakshare.outbox.lag", measured)
		return ok && waiting == 0 && lag == 0
	})
}

// last returns the last value of a gauge for a service.
func last[N int64 | float64](t *testing.T, reader *metric.ManualReader, name, service string) (N, bool) {
	t.Helper()
	var all metricdata.ResourceMetrics
	if err := reader.Collect(t.Context(), &all); err != nil {
		t.Fatal(err)
	}
	for _, scope := range all.ScopeMetrics {
		for _, m := range scope.Metrics {
			gauge, ok := m.Data.(metricdata.Gauge[N])
			if !ok || m.Name != name {
				continue
			}
			for _, p := range gauge.DataPoints {
				if v, _ := p.Attributes.Value(attribute.Key("service")); v.AsString() == service {
					return p.Value, true
				}
			}
		}
	}
	return 0, false
}
