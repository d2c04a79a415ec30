package rpc

import (
	"context"
	"strings"

	"google.golang.org/grpc/metadata"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// authHeader is the metadata key of the bearer token (RFC 6750, section 2.1).
const authHeader = "authorization"

// auth puts the caller's identity into the context and refuses a caller
// without a good token, or whose role the policy does not let in.
func auth(tokens *identity.Tokens, ps *policies) step {
	return func(ctx context.Context, c call, next func(context.Context) error) error {
		if isOpen(c.method) {
			return next(ctx)
		}
		token, err := bearer(ctx)
		if err != nil {
			return err
		}
		id, err := tokens.Verify(token)
		if err != nil {
			return fault.New(fault.Unauthenticated, "TOKEN_REFUSED",
				"the token is not good, or no longer: sign in again").WithCause(err)
		}
		noteIdentity(ctx, id)
		if err := ps.check(c.method, id.Role); err != nil {
			return err
		}
		return next(identity.With(ctx, id))
	}
}

// bearer takes the one bearer token out of the incoming metadata.
func bearer(ctx context.Context) (string, error) {
	values := metadata.ValueFromIncomingContext(ctx, authHeader)
	if len(values) != 1 {
		return "", fault.New(fault.Unauthenticated, "TOKEN_MISSING",
			"%d authorization headers: send one, \"Bearer\" and the token", len(values))
	}
	scheme, token, ok := strings.Cut(values[0], " ")
	if !ok || !strings.EqualFold(scheme, "Bearer") || token == "" {
		return "", fault.New(fault.Unauthenticated, "TOKEN_MISSING",
			"the authorization header is no bearer token: send \"Bearer\", a space and the token")
	}
	return token, nil
}
