package telemetry

import (
	"context"
	"fmt"
	"io"
	"log/slog"

	"go.opentelemetry.io/otel/trace"

	"breakshare.example/services/platform/identity"
)

// NewLogger returns a logger that writes lines of format "json" or "text" to
// w, from level up: "debug", "info", "warn" or "error". Empty stands for json
// and info. Each line carries the trace and the co-op that its context has.
func NewLogger(w io.Writer, format, level string) (*slog.Logger, error) {
	var least slog.Level
	if level != "" {
		if err := least.UnmarshalText([]byte(level)); err != nil {
			return nil, fmt.Errorf("log level %q: write debug, info, warn or error", level)
		}
	}
	options := &slog.HandlerOptions{Level: least}
	switch format {
	case "", "json":
		return slog.New(contextHandler{slog.NewJSONHandler(w, options)}), nil
	case "text":
		return slog.New(contextHandler{slog.NewTextHandler(w, options)}), nil
	default:
		return nil, fmt.Errorf("log format %q: write json or text", format)
	}
}

// contextHandler adds what the context knows to each line: trace_id and
// span_id to find the trace, coop to find whose line it is.
type contextHandler struct{ slog.Handler }

func (h contextHandler) Handle(ctx context.Context, r slog.Record) error {
	r = r.Clone()
	if span := trace.SpanContextFromContext(ctx); span.IsValid() {
		r.AddAttrs(slog.String("trace_id", span.TraceID().String()), slog.String("span_id", span.SpanID().String()))
	}
	if id, ok := identity.From(ctx); ok {
		r.AddAttrs(slog.String("coop", id.CoopID))
	}
	return h.Handler.Handle(ctx, r)
}

func (h contextHandler) WithAttrs(attrs []slog.Attr) slog.Handler {
	return contextHandler{h.Handler.WithAttrs(attrs)}
}

func (h contextHandler) WithGroup(name string) slog.Handler {
	return contextHandler{h.Handler.WithGroup(name)}
}
