package rpc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"google.golang.org/grpc"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// tokenLife is how long a call's token lives: it is verified once, when the
// call begins, so it need only outlast the longest wait for a connection.
const tokenLife = time.Minute

// bearerTokens gives each call a token for the identity in its context.
type bearerTokens struct{ tokens *identity.Tokens }

// GetRequestMetadata returns the bearer token, or none where the context has
// no identity: health needs none and everything else will say so.
func (b bearerTokens) GetRequestMetadata(ctx context.Context, _ ...string) (map[string]string, error) {
	id, ok := identity.From(ctx)
	if !ok {
		return nil, nil
	}
	token, err := b.tokens.Lend(id, tokenLife)
	if err != nil {
		return nil, fault.New(fault.Unauthenticated, "TOKEN_NOT_MINTED", "this identity cannot call").WithCause(err)
	}
	return map[string]string{authHeader: "Bearer " + token}, nil
}

// RequireTransportSecurity is false because Dial has seen to it: in the clear
// only on loopback.
func (bearerTokens) RequireTransportSecurity() bool { return false }

// clientUnary gives a deadline where there is none and returns faults.
func clientUnary(fallback time.Duration) grpc.UnaryClientInterceptor {
	return func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoker grpc.UnaryInvoker, opts ...grpc.CallOption) error {
		if _, ok := ctx.Deadline(); !ok {
			var cancel context.CancelFunc
			ctx, cancel = context.WithTimeout(ctx, fallback)
			defer cancel()
		}
		return received(method, invoker(ctx, method, req, reply, cc, opts...))
	}
}

// clientStream returns faults from opening a stream and from using it.
func clientStream(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string, streamer grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	s, err := streamer(ctx, desc, cc, method, opts...)
	if err != nil {
		return nil, received(method, err)
	}
	return &faultStream{ClientStream: s, method: method}, nil
}

type faultStream struct {
	grpc.ClientStream
	method string
}

func (s *faultStream) SendMsg(m any) error { return received(s.method, s.ClientStream.SendMsg(m)) }
func (s *faultStream) RecvMsg(m any) error { return received(s.method, s.ClientStream.RecvMsg(m)) }
func (s *faultStream) CloseSend() error    { return received(s.method, s.ClientStream.CloseSend()) }

// received turns an error of a call into a fault; io.EOF is how a stream says
// that it ended and stays itself. Where the fault is not the server's own
// word, the method goes into the cause, for the log.
func received(method string, err error) error {
	if err == nil || errors.Is(err, io.EOF) {
		return err
	}
	f := fault.FromStatus(err)
	if f.Cause != nil {
		return f.WithCause(fmt.Errorf("call %s: %w", method, f.Cause))
	}
	return f
}
