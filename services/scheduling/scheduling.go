// Package scheduling is the service that keeps every growing room on its cycle: it
// owns farms, rooms, crop programmes, crops and the calendar.
//
// It tells of what it saves, and listens to order and compostlot for what the
// planner needs: products, orders and the yards' slots. See internal/programme,
// internal/calendar, internal/demand, internal/fillplan and internal/proposal for
// the rules, internal/store for what is kept, internal/server for the RPCs,
// internal/subscriber for the events of others.
package scheduling

import (
	"context"
	"fmt"
	"io"
	"maps"
	"slices"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/eventlog"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/scheduling/internal/server"
	"breakshare.example/services/scheduling/internal/server/round"
	"breakshare.example/services/scheduling/internal/solvefillplan"
	"breakshare.example/services/scheduling/internal/store"
	"breakshare.example/services/scheduling/internal/subscriber"
)

// Bind brings the service up on a host: its schema, its RPCs and who may call them.
func Bind(ctx context.Context, h *host.Host, cfg Config) error {
	pool, err := h.Store(ctx, store.Schema(), cfg.connections())
	if err != nil {
		return fmt.Errorf("scheduling: %w", err)
	}
	srv, err := server.New(pool, h.Clock, cfg.MaxPlanSteps)
	if err != nil {
		return fmt.Errorf("scheduling: %w", err)
	}
	schedulingv1.RegisterSchedulingServiceServer(h.Registrar, srv)
	h.AddPolicy(server.Policy())

	daily := round.New(round.Options{
		Log:   h.Log,
		Coops: func(ctx context.Context) ([]string, error) { return store.CoopsWithCrops(ctx, pool) },
		Shift: srv.ShiftDue,
	})
	if err := h.Run(daily); err != nil {
		return fmt.Errorf("scheduling: move overdue crops each day: %w", err)
	}

	sources := subscriber.Sources()
	for _, source := range slices.Sorted(maps.Keys(sources)) {
		conn, err := h.Dial(source)
		if err != nil {
			return fmt.Errorf("scheduling: reach %s: %w", source, err)
		}
		consumer, err := inbox.New(inbox.Options{
			Service: "scheduling", Source: source, Handlers: sources[source],
			Pool: pool, Bus: h.Bus, Replay: eventlog.Replay(conn, source), Log: h.Log,
		})
		if err != nil {
			return fmt.Errorf("scheduling: listen to %s: %w", source, err)
		}
		if err := h.Run(consumer); err != nil {
			return fmt.Errorf("scheduling: listen to %s: %w", source, err)
		}
	}
	return nil
}

// Commands are the computations of the service that run on a file, by the name
// under which the suite's binary offers them. Each returns the exit code: 0 solved,
// 2 no answer, with the reason on stderr.
func Commands() map[string]func(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	return map[string]func(ctx context.Context, args []string, stdout, stderr io.Writer) int{
		"fillplan": solvefillplan.Run,
	}
}
