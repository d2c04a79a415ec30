// Package order is the service that matches what farms pick to what kitchens ordered: customers,
// products, standing orders, orders and their cut-off, the match of a day, pack lists, dispatches,
// deliveries and what customers say of them, the tracing of packs, and what crops need of spawn and
// casing.
package order

import (
	"context"
	"fmt"
	"io"
	"os"

	"github.com/jackc/pgx/v5/pgxpool"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/match/flow/solvecmd"
	"breakshare.example/services/order/internal/server"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/order/internal/subscriber"
	"breakshare.example/services/platform/eventlog"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/inbox"
)

// name of the service in subjects, schemas and addresses.
const name = "order"

// Bind brings the service up on a host: its store, its RPCs, and the consumers of the events that
// it lives on. It fails where the database cannot be prepared or a consumer cannot be made.
func Bind(ctx context.Context, h *host.Host, cfg Config) error {
	cfg = cfg.withDefaults()
	pool, err := h.Store(ctx, store.Schema(), cfg.MaxConnections)
	if err != nil {
		return err
	}
	harvest, err := h.Dial("harvest")
	if err != nil {
		return fmt.Errorf("order: dial harvest: %w", err)
	}
	srv := server.New(server.Options{Pool: pool, Clock: h.Clock, Harvest: harvest, SolveWithin: cfg.SolveWithin.Std()})
	orderv1.RegisterOrderServiceServer(h.Registrar, srv)
	h.AddPolicy(server.Policy())
	if err := consume(h, pool, "harvest", subscriber.Harvest()); err != nil {
		return err
	}
	if err := consume(h, pool, "scheduling", subscriber.Scheduling()); err != nil {
		return err
	}
	if err := h.Run(server.NewExpander(srv, h.Log, cfg.ExpandEvery.Std())); err != nil {
		return fmt.Errorf("order: turn standing orders into orders: %w", err)
	}
	if err := h.Run(server.NewWarmer(srv, h.Log)); err != nil {
		return fmt.Errorf("order: make confirmed matches ready to be rebalanced: %w", err)
	}
	return nil
}

// consume takes the events of another service; what the bus loses is asked of their owner.
func consume(h *host.Host, pool *pgxpool.Pool, source string, handlers map[string]inbox.Handler) error {
	owner, err := h.Dial(source)
	if err != nil {
		return fmt.Errorf("order: dial %s: %w", source, err)
	}
	consumer, err := inbox.New(inbox.Options{
		Service: name, Source: source, Handlers: handlers, Pool: pool, Bus: h.Bus, Replay: eventlog.Replay(owner, source), Log: h.Log,
	})
	if err != nil {
		return fmt.Errorf("order: consume the events of %s: %w", source, err)
	}
	return h.Run(consumer)
}

// Commands are the computations of this service that the command line can run on a file, by
// name: "flow" solves a minimum-cost flow in the DIMACS format. Each returns its exit code.
func Commands() map[string]func(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	return map[string]func(ctx context.Context, args []string, stdout, stderr io.Writer) int{
		"flow": func(ctx context.Context, args []string, stdout, stderr io.Writer) int {
			return solvecmd.Run(ctx, args, os.Stdin, stdout, stderr)
		},
	}
}
