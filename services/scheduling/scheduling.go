// Package scheduling is the service that keeps every growing room on its cycle: it
// owns farms, rooms, crop programmes, crops and the calendar.
//
// It tells of what it saves, and reads nothing of other services. See
// internal/programme and internal/calendar for the rules, internal/store for what
// is kept, internal/server for the RPCs.
package scheduling

import (
	"context"
	"fmt"
	"io"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/scheduling/internal/server"
	"breakshare.example/services/scheduling/internal/solvefillplan"
	"breakshare.example/services/scheduling/internal/store"
)

// Bind brings the service up on a host: its schema, its RPCs and who may call them.
func Bind(ctx context.Context, h *host.Host, cfg Config) error {
	pool, err := h.Store(ctx, store.Schema(), cfg.connections())
	if err != nil {
		return fmt.Errorf("scheduling: %w", err)
	}
	srv, err := server.New(pool, h.Clock)
	if err != nil {
		return fmt.Errorf("scheduling: %w", err)
	}
	schedulingv1.RegisterSchedulingServiceServer(h.Registrar, srv)
	h.AddPolicy(server.Policy())
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
