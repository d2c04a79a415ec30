package web

import (
	"context"
	"errors"
	"net/http"
	"sync"
	"time"

	healthv1 "google.golang.org/grpc/health/grpc_health_v1"

	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// healthPatience is how long a service may take to say how it is.
const healthPatience = 3 * time.Second

// healthPage is how the services are, and for the operator how far they have got.
type healthPage struct {
	Form     *form
	Services []serviceRow
	Well     bool
	At       string
	Operator bool
	Queues   []queueRow
	Letters  []letterRow
	Retried  string // a letter that was just taken in

	State, Queued, Dead part
}

// serviceRow is one service. Millis is how long it took to answer; it is told on request only,
// for it is never the same.
type serviceRow struct {
	Name, State, Why string
	Unpublished      int64  // events that wait for the bus
	Since            string // when the oldest of them happened; empty when there are none
	standing         *eventlogv1.GetStandingResponse
}

// queueRow is one service's reading of another's events. Known tells that both have answered.
type queueRow struct {
	Reader, Source string
	Behind         int64
	Dead           int64
	Known          bool
}

// letterRow is an event that a service could not take in.
type letterRow struct {
	Service, Source, ID, Type, Reason, At string
	Sequence                              int64
	Form                                  *form
}

// showHealth asks every service how it is. It needs no co-op, so that it answers when the
// services do not.
func (p *Pages) showHealth(v *visit, f *form) (view, error) {
	page := healthPage{Form: f, Well: true, At: v.words.Instant(v.now, v.zone), Operator: v.known && v.who.Role == identity.Operator, Retried: v.r.URL.Query().Get("retried")}
	rows, letters := make([]serviceRow, len(serviceNames)), make([][]letterRow, len(serviceNames))
	var group sync.WaitGroup
	for i, name := range serviceNames {
		group.Go(func() {
			ctx, cancel := context.WithTimeout(v.ctx, healthPatience)
			defer cancel()
			rows[i] = p.ask(ctx, name)
			if page.Operator && rows[i].State != "unreachable" {
				letters[i] = p.standing(ctx, v, f, &rows[i])
			}
		})
	}
	group.Wait()
	page.Services = rows
	status := http.StatusOK
	for i, row := range rows {
		if row.State != "serving" {
			page.Well, status = false, http.StatusServiceUnavailable
		}
		page.Letters = append(page.Letters, letters[i]...)
	}
	page.Queues = queuesOf(rows)
	var err error
	for piece, into := range map[string]*part{"healthservices": &page.State, "healthqueues": &page.Queued, "healthletters": &page.Dead} {
		shown, failed := p.part(v, "health", piece, page)
		*into, err = shown, errors.Join(err, failed)
	}
	shown := view{template: "health", title: "health.title", data: page, status: status}
	if page.Operator {
		shown.live = "/live/health"
	}
	return shown, err
}

func (p *Pages) ask(ctx context.Context, name string) serviceRow {
	res, err := p.health[name].Check(ctx, &healthv1.HealthCheckRequest{})
	row := serviceRow{Name: name}
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

// standing asks a service how far it has got with the operator's co-op and for its dead letters.
// One that does not say is shown without.
func (p *Pages) standing(ctx context.Context, v *visit, f *form, row *serviceRow) []letterRow {
	var (
		standing *eventlogv1.GetStandingResponse
		dead     *eventlogv1.ListDeadLettersResponse
	)
	err := together(ctx,
		func(ctx context.Context) (err error) {
			standing, err = p.events[row.Name].GetStanding(ctx, &eventlogv1.GetStandingRequest{})
			return err
		},
		func(ctx context.Context) (err error) {
			dead, err = p.events[row.Name].ListDeadLetters(ctx, &eventlogv1.ListDeadLettersRequest{})
			return err
		},
	)
	if err != nil {
		row.Why = fault.From(err).Message
		return nil
	}
	row.standing, row.Unpublished = standing, standing.GetUnpublished()
	if at := standing.GetOldestUnpublished(); at != nil {
		row.Since = v.words.Instant(at.AsTime(), v.zone)
	}
	var letters []letterRow
	for _, l := range dead.GetDeadLetters() {
		letters = append(letters, letterRow{
			Service: row.Name, Source: l.GetSource(), ID: l.GetEventId(), Type: l.GetType(), Reason: l.GetReason(), Sequence: l.GetSequence(),
			At: v.words.Instant(l.GetBuriedAt().AsTime(), v.zone), Form: f.For(l.GetEventId()),
		})
	}
	return letters
}

// queuesOf sets what each service has read against what its source has published.
func queuesOf(rows []serviceRow) []queueRow {
	newest := map[string]*eventlogv1.GetStandingResponse{}
	for _, row := range rows {
		newest[row.Name] = row.standing
	}
	var queues []queueRow
	for _, row := range rows {
		for _, r := range row.standing.GetReadings() {
			q := queueRow{Reader: row.Name, Source: r.GetSource(), Dead: r.GetDeadLetters()}
			if source := newest[r.GetSource()]; source != nil {
				// What is read between the two answers would make it less than none.
				q.Known, q.Behind = true, max(0, source.GetLastSequence()+source.GetUnpublished()-r.GetLastSequence())
			}
			queues = append(queues, q)
		}
	}
	return queues
}

// retryLetter has a service take in a dead letter after all.
func (p *Pages) retryLetter(v *visit) (view, error) {
	service, event := v.r.PostFormValue("service"), v.r.PostFormValue("form")
	client := p.events[service]
	if client == nil {
		return view{}, fault.New(fault.NotFound, "NO_SERVICE", "%s", v.words.T("health.no_service"))
	}
	_, err := client.RetryDeadLetter(v.ctx, &eventlogv1.RetryDeadLetterRequest{RequestId: v.r.PostFormValue("request_id"), EventId: event})
	return view{goTo: "/health?retried=yes#letters"}, err
}
