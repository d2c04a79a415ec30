package rpc

import (
	"context"

	"google.golang.org/grpc"
)

// call is what every step knows of the call it wraps.
type call struct {
	method string // "/breakshare.harvest.v1.HarvestService/RecordPick"
	stream bool
}

// step wraps the rest of a call. It may refuse it, change its context, or
// change its error; it sees no message.
type step func(ctx context.Context, c call, next func(context.Context) error) error

// chain composes steps, the first outermost.
func chain(steps ...step) step {
	return func(ctx context.Context, c call, next func(context.Context) error) error {
		for i := len(steps) - 1; i >= 0; i-- {
			s, inner := steps[i], next
			next = func(ctx context.Context) error { return s(ctx, c, inner) }
		}
		return next(ctx)
	}
}

// unary makes the interceptor of unary calls: the steps, then check on the
// request, then the handler. The answer of a call that failed in any step is
// dropped.
func unary(steps step, check func(any) error) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		var resp any
		err := steps(ctx, call{method: info.FullMethod}, func(ctx context.Context) error {
			if err := check(req); err != nil {
				return err
			}
			var err error
			resp, err = handler(ctx, req)
			return err
		})
		if err != nil {
			return nil, err
		}
		return resp, nil
	}
}

// streaming makes the interceptor of streams: the steps once per stream, check
// on every message received.
func streaming(steps step, check func(any) error) grpc.StreamServerInterceptor {
	return func(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
		return steps(ss.Context(), call{method: info.FullMethod, stream: true}, func(ctx context.Context) error {
			return handler(srv, &checkedStream{ServerStream: ss, ctx: ctx, check: check})
		})
	}
}

// checkedStream is a stream with the context that the steps made, which checks
// each message it receives.
type checkedStream struct {
	grpc.ServerStream
	ctx   context.Context
	check func(any) error
}

func (s *checkedStream) Context() context.Context { return s.ctx }

func (s *checkedStream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	return s.check(m)
}
