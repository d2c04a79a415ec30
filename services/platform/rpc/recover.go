package rpc

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"

	"breakshare.example/services/platform/fault"
)

// recovery turns a panic into an Internal error and logs it with its stack: a
// bug in one handler must not end the other calls of the process.
func recovery(log *slog.Logger) step {
	return func(ctx context.Context, c call, next func(context.Context) error) (err error) {
		defer func() {
			p := recover()
			if p == nil {
				return
			}
			log.ErrorContext(ctx, "a handler panicked",
				"method", c.method, "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
			err = fault.New(fault.Internal, "", "panic: %v", p)
		}()
		return next(ctx)
	}
}

// faults sorts whatever error comes from within into a *fault.Error. It keeps
// the cause for the log outside it; only the status goes over the wire.
func faults(ctx context.Context, _ call, next func(context.Context) error) error {
	if err := next(ctx); err != nil {
		return fault.From(err)
	}
	return nil
}
