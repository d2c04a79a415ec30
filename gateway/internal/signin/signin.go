// Package signin owns who a request acts as. A bearer token says so, or the cookie of a
// person who was chosen on this machine, or else the office of the co-op that was imported
// here. The last two hold only for requests to a loopback address, so that no other site's
// name can be pointed at this machine to act in its stead. Accounts and sessions will come
// here.
package signin

import (
	"net"
	"net/http"
	"strings"
	"time"

	"breakshare.example/gateway/internal/rest"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

const (
	cookieName = "breakshare_person"
	// chosenFor is a working day: whoever comes next morning says anew who they are.
	chosenFor = 14 * time.Hour
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
		return d.bearer(header)
	}
	office, ok := d.Office(r)
	if !ok {
		return identity.Identity{}, fault.New(fault.Unauthenticated, "NOBODY", "Nobody is known by this request: import a co-op on this machine with `breakshare import DIR` and use its loopback address, or send a bearer token.")
	}
	if chosen, ok := d.Chosen(r); ok {
		return chosen, nil
	}
	return office, nil
}

func (d *Door) bearer(header string) (identity.Identity, *fault.Error) {
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

// Office is the coordinator of the co-op on this machine; false where there is none, or
// where the request was not sent to a loopback address.
func (d *Door) Office(r *http.Request) (identity.Identity, bool) {
	if d.local == nil || !loopback(r.Host) {
		return identity.Identity{}, false
	}
	return d.local()
}

// Chosen is the person that a visitor of this machine chose to be; false where they chose
// nobody, long ago, or somebody of another co-op.
func (d *Door) Chosen(r *http.Request) (identity.Identity, bool) {
	office, ok := d.Office(r)
	if !ok {
		return identity.Identity{}, false
	}
	cookie, err := r.Cookie(cookieName)
	if err != nil {
		return identity.Identity{}, false
	}
	who, err := d.tokens.Verify(cookie.Value)
	if err != nil || who.CoopID != office.CoopID {
		return identity.Identity{}, false
	}
	return who, true
}

// Choose remembers with the visitor whom they chose to be: their role, farm, yard, customer
// and name, in the co-op of this machine. It refuses (Forbidden) where there is no office, and
// (Invalid) a person who is not whole.
func (d *Door) Choose(w http.ResponseWriter, r *http.Request, who identity.Identity) error {
	office, ok := d.Office(r)
	if !ok {
		return fault.New(fault.Forbidden, "NOT_LOCAL", "A person can be chosen on the suite's own machine only.")
	}
	who.CoopID = office.CoopID
	token, err := d.tokens.Mint(who, chosenFor)
	if err != nil {
		return fault.InvalidField("as", "choose one of the people on the page").WithCause(err)
	}
	http.SetCookie(w, &http.Cookie{
		Name: cookieName, Value: token, Path: "/", MaxAge: int(chosenFor.Seconds()),
		HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode,
	})
	return nil
}

// loopback reports whether a Host header names this machine itself.
func loopback(hostport string) bool {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		host = strings.Trim(hostport, "[]")
	}
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}
