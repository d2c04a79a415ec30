// Package gateway owns the only door to the suite from outside: REST and JSON over every
// RPC, the OpenAPI document, and the pages. It keeps no data; what it shows it asks the
// services for, in the name of whoever asks it.
package gateway

import (
	"context"
	"log/slog"
	"net/http"

	"google.golang.org/grpc"

	"breakshare.example/gateway/internal/rest"
	"breakshare.example/gateway/internal/signin"
	"breakshare.example/gateway/internal/web"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/identity"
)

// Host is what the gateway gets from the process that runs it. All but Metrics and Local are
// needed.
type Host struct {
	Log    *slog.Logger
	Clock  clock.Clock
	Tokens *identity.Tokens
	// Dial gives the connection to a service by its short name.
	Dial func(service string) (*grpc.ClientConn, error)
	// Local tells as whom requests without a token act on this machine; nil or false refuses
	// them. Only a gateway on a loopback address may have it.
	Local func() (identity.Identity, bool)
	// Metrics answers at /metrics; nil for none.
	Metrics http.Handler
	// Closing ends live updates when it closes, as the server begins to stop; nil never does.
	Closing <-chan struct{}
}

// Bind wires the gateway and returns what answers its requests.
func Bind(ctx context.Context, h Host, cfg Config) (http.Handler, error) {
	api, err := rest.New(ctx, h.Dial)
	if err != nil {
		return nil, err
	}
	door := signin.New(h.Tokens, h.Local)
	pages, err := web.New(web.Options{Log: h.Log, Clock: h.Clock, Dial: h.Dial, Door: door, LiveEvery: cfg.liveEvery(), Closing: h.Closing})
	if err != nil {
		return nil, err
	}

	mux := http.NewServeMux()
	mux.Handle("/v1/", door.API(api))
	mux.HandleFunc("GET /openapi.json", rest.OpenAPI)
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	if h.Metrics != nil {
		mux.Handle("GET /metrics", h.Metrics)
	}
	mux.Handle("/", door.Page(pages))

	return chain(mux,
		logged(h.Log, h.Clock),
		recovered(h.Log),
		secured,
		http.NewCrossOriginProtection().Handler,
		limited(cfg.maxBody()),
	), nil
}
