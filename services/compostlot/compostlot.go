// Package compostlot is the service of the compost yards: it shares out their batch
// slots among the farms, keeps the evidence of each lot, lets nothing leave that is
// not released by a named person, and tells where every lot went.
package compostlot

import (
	"context"
	"fmt"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/compostlot/internal/members"
	"breakshare.example/services/compostlot/internal/server"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/compostlot/internal/subscriber"
	"breakshare.example/services/platform/eventlog"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/intake"
)

// Bind brings the service up on a host: its schema, its RPCs, and the events of scheduling
// that it takes in. The configuration has been checked.
func Bind(ctx context.Context, h *host.Host, cfg Config) error {
	cfg = cfg.withDefaults()
	schema := store.Schema()
	pool, err := h.Store(ctx, schema, int32(cfg.MaxConnections))
	if err != nil {
		return err
	}
	scheduling, err := h.Dial(subscriber.Source)
	if err != nil {
		return fmt.Errorf("dial scheduling: %w", err)
	}
	srv := server.New(server.Options{
		Pool: pool, Clock: h.Clock, MaxReadings: cfg.MaxReadingsPerStream,
		Members: members.NewDirectory(pool, schedulingv1.NewSchedulingServiceClient(scheduling)),
	})
	compostlotv1.RegisterCompostLotServiceServer(h.Registrar, srv)
	h.AddPolicy(server.Policy())
	events, err := inbox.New(inbox.Options{
		Service: schema.Service, Source: subscriber.Source, Handlers: subscriber.Handlers(),
		Pool: pool, Bus: h.Bus, Replay: eventlog.Replay(scheduling, subscriber.Source), Log: h.Log,
	})
	if err != nil {
		return fmt.Errorf("events of scheduling: %w", err)
	}
	if err := h.Run(events); err != nil || !h.Instruments {
		return err
	}
	probes, err := intake.New(intake.Options{Service: schema.Service, Bus: h.Bus, Pool: pool, Take: srv.TakeReadings, Log: h.Log})
	if err != nil {
		return fmt.Errorf("readings of probes: %w", err)
	}
	return h.Run(probes)
}
