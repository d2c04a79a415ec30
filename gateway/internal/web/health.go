package web

import (
	"context"
	"net/http"
	"sync"
	"time"

	healthv1 "google.golang.org/grpc/health/grpc_health_v1"

	"breakshare.example/services/platform/fault"
)

// healthPatience is how long a service may take to say how it is.
const healthPatience = 3 * time.Second

// healthPage is how the services are.
type healthPage struct {
	Services []serviceRow
	Well     bool
	At       string
}

// serviceRow is one service.
type serviceRow struct {
	Name, State, Why string
	Millis           int64
}

// showHealth asks every service how it is. It needs no co-op, so that it answers when the
// services do not.
func (p *Pages) showHealth(v *visit) (view, error) {
	page := healthPage{Well: true, At: v.words.Instant(v.now, v.zone)}
	rows := make([]serviceRow, len(serviceNames))
	var group sync.WaitGroup
	for i, name := range serviceNames {
		group.Go(func() { rows[i] = p.ask(v.ctx, name) })
	}
	group.Wait()
	page.Services = rows
	status := http.StatusOK
	for _, row := range rows {
		if row.State != "serving" {
			page.Well, status = false, http.StatusServiceUnavailable
		}
	}
	return view{template: "health", title: "health.title", data: page, status: status}, nil
}

func (p *Pages) ask(ctx context.Context, name string) serviceRow {
	ctx, cancel := context.WithTimeout(ctx, healthPatience)
	defer cancel()
	begun := p.clock.Now()
	res, err := p.health[name].Check(ctx, &healthv1.HealthCheckRequest{})
	row := serviceRow{Name: name, Millis: p.clock.Now().Sub(begun).Milliseconds()}
	switch {
	case err != nil:
		row.State, row.Why = "unreachable", fault.From(err).Message
	case res.GetStatus() == healthv1.HealthCheckResponse_SERVING:
		row.State = "serving"
	default:
		row.State = "not_serving"
	}
	return row
}
