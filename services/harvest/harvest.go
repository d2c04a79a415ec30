// Package harvest owns what will be picked, what was picked and where it came
// from. It exports what a process needs to run the service: Bind and Config.
package harvest

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/harvest/internal/server"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/harvest/internal/subscriber"
	"breakshare.example/services/platform/eventlog"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/intake"
)

// Bind brings the service up on the host: its store with the relay of its
// events, its RPCs, and a consumer of each service that it listens to. It asks
// scheduling and order where its copies of their facts may lag.
func Bind(ctx context.Context, h *host.Host, cfg Config) error {
	pool, err := h.Store(ctx, store.Schema(), cfg.connections())
	if err != nil {
		return err
	}
	scheduling, err := h.Dial("scheduling")
	if err != nil {
		return fmt.Errorf("reach scheduling: %w", err)
	}
	order, err := h.Dial("order")
	if err != nil {
		return fmt.Errorf("reach order: %w", err)
	}
	rules, err := cfg.rules()
	if err != nil {
		return fmt.Errorf("harvest's cut-off: %w", err)
	}
	srv := server.New(pool, h.Clock, server.Owners{
		Scheduling: schedulingv1.NewSchedulingServiceClient(scheduling),
		Ordering:   orderv1.NewOrderServiceClient(order),
	}, rules)
	harvestv1.RegisterHarvestServiceServer(h.Registrar, srv)
	h.AddPolicy(server.Policy())

	sources := subscriber.Sources()
	for _, source := range slices.Sorted(maps.Keys(sources)) {
		conn, err := h.Dial(source)
		if err != nil {
			return fmt.Errorf("reach %s: %w", source, err)
		}
		consumer, err := inbox.New(inbox.Options{
			Service: "harvest", Source: source, Handlers: sources[source],
			Pool: pool, Bus: h.Bus, Replay: eventlog.Replay(conn, source), Log: h.Log,
		})
		if err != nil {
			return fmt.Errorf("listen to %s: %w", source, err)
		}
		if err := h.Run(consumer); err != nil {
			return fmt.Errorf("listen to %s: %w", source, err)
		}
	}
	if h.Instruments {
		rooms, err := intake.New(intake.Options{Service: "harvest", Bus: h.Bus, Pool: pool, Take: srv.TakeReadings, Log: h.Log})
		if err != nil {
			return fmt.Errorf("readings of rooms: %w", err)
		}
		if err := h.Run(rooms); err != nil {
			return fmt.Errorf("readings of rooms: %w", err)
		}
	}
	if err := h.Run(server.NewTeller(srv, h.Log, lookEvery)); err != nil {
		return fmt.Errorf("tell what is used: %w", err)
	}
	if cfg.KeepOpen {
		return nil
	}
	if err := h.Run(server.NewCloser(srv, h.Log, lookEvery)); err != nil {
		return fmt.Errorf("close days at the cut-off: %w", err)
	}
	return nil
}

// lookEvery is how often it is looked whether the cut-off of a day has passed,
// and whether what is used of pushes has changed by itself.
const lookEvery = 20 * time.Second
