// Package harvest owns what will be picked, what was picked and where it came
// from. It exports what a process needs to run the service: Bind and Config.
package harvest

import (
	"context"
	"fmt"
	"maps"
	"slices"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/harvest/internal/server"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/harvest/internal/subscriber"
	"breakshare.example/services/platform/eventlog"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/inbox"
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
	harvestv1.RegisterHarvestServiceServer(h.Registrar, server.New(pool, h.Clock, server.Owners{
		Scheduling: schedulingv1.NewSchedulingServiceClient(scheduling),
		Ordering:   orderv1.NewOrderServiceClient(order),
	}))
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
	return nil
}
