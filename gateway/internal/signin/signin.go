// Package signin owns who a request acts as. A bearer token says so; without one, requests
// act as the person chosen on this machine, which only a loopback gateway allows. Accounts
// and sessions will come here.
package signin

import (
	"net/http"
	"strings"

	"breakshare.example/gateway/internal/rest"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// Door lets requests in under an identity.
type Door struct {
	tokens *identity.Tokens
	local  func() (identity.Identity, bool)
}

// New returns a door that believes these tokens, and local for requests without one; local
// may be nil.
func New(tokens *identity.Tokens, local func() (identity.Identity, bool)) *Door {
	return &Door{tokens: tokens, local: local}
}

// API lets requests through to next and answers the others with a problem.
func (d *Door) API(next http.Handler) http.Handler {
	return d.guard(next, rest.WriteProblem)
}

// Page lets every request through to next: with an identity where there is one. The pages
// tell a visitor without one what to do.
func (d *Door) Page(next http.Handler) http.Handler {
	return d.guard(next, func(w http.ResponseWriter, r *http.Request, _ *fault.Error) { next.ServeHTTP(w, r) })
}

func (d *Door) guard(next http.Handler, refuse func(http.ResponseWriter, *http.Request, *fault.Error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		who, f := d.who(r)
		if f != nil {
			refuse(w, r, f)
			return
		}
		next.ServeHTTP(w, r.WithContext(identity.With(r.Context(), who)))
	})
}

// who reads the identity of a request.
func (d *Door) who(r *http.Request) (identity.Identity, *fault.Error) {
	if header := r.Header.Get("Authorization"); header != "" {
		scheme, token, _ := strings.Cut(header, " ")
		if !strings.EqualFold(scheme, "Bearer") {
			return identity.Identity{}, fault.New(fault.Unauthenticated, "TOKEN_SCHEME", "Authorization must be a bearer token: send \"Authorization: Bearer TOKEN\".")
		}
		who, err := d.tokens.Verify(token)
		if err != nil {
			return identity.Identity{}, fault.New(fault.Unauthenticated, "TOKEN_REFUSED", "The bearer token is not valid or has run out: ask for a new one.").WithCause(err)
		}
		return who, nil
	}
	if d.local != nil {
		if who, ok := d.local(); ok {
			return who, nil
		}
	}
	return identity.Identity{}, fault.New(fault.Unauthenticated, "NOBODY", "No co-op has been imported on this machine yet: run `breakshare import DIR`, or send a bearer token.")
}
