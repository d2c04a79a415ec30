// Package identity says who is calling: which co-op, in which role, standing
// for which farm, yard or customer. It travels in the context inside a process
// and as a signed token between processes. A caller's co-op and role come from
// here and never from a request's body.
package identity

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"breakshare.example/services/platform/ids"
)

// Role is what a caller may act as. The text is what the token carries.
type Role string

// The roles of the suite.
const (
	Coordinator Role = "coordinator"  // the co-op's office
	Grower      Role = "grower"       // one farm
	YardManager Role = "yard_manager" // one compost yard
	Buyer       Role = "buyer"        // one customer
	Operator    Role = "operator"     // who runs the suite
	Service     Role = "service"      // one service calling another, or an event handler
)

// Roles lists every role once, in a fixed order, for tests that walk them all.
func Roles() []Role {
	return []Role{Coordinator, Grower, YardManager, Buyer, Operator, Service}
}

// Identity is one caller. CoopID is always there; FarmID, YardID and
// CustomerID are there where the role stands for one and empty elsewhere.
// Name is for people to read: who released this lot, who changed this order.
type Identity struct {
	CoopID     string // UUID
	Role       Role
	FarmID     string // a grower's farm, e.g. "alder-brook"
	YardID     string // a yard manager's yard
	CustomerID string // a buyer's customer
	Name       string
}

// shortName is the form of the ids that a co-op chooses for its farms, yards and
// customers. The protos hold the same pattern.
var shortName = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,62}[a-z0-9])?$`)

// Problem says why an identity cannot be used: which part is wrong and how to
// mend it.
type Problem struct {
	Part string // "co-op", "role", "farm", "yard", "customer"
	Text string
}

// Error implements error.
func (p *Problem) Error() string { return "identity: " + p.Part + ": " + p.Text }

// Validate checks that the identity is whole: a co-op UUID, a known role, and
// the farm, yard or customer that the role stands for. It returns a *Problem.
func (id Identity) Validate() error {
	if !ids.Valid(id.CoopID) {
		return &Problem{"co-op", fmt.Sprintf("%q is not a UUID; give the co-op's id", id.CoopID)}
	}
	if !slices.Contains(Roles(), id.Role) {
		return &Problem{"role", fmt.Sprintf("%q is none of %s", id.Role, roleNames())}
	}
	for _, p := range []struct {
		part, id string
		role     Role
	}{
		{"farm", id.FarmID, Grower},
		{"yard", id.YardID, YardManager},
		{"customer", id.CustomerID, Buyer},
	} {
		if id.Role == p.role && p.id == "" {
			return &Problem{p.part, fmt.Sprintf("missing; a %s stands for one %s: give its id", words(p.role), p.part)}
		}
		if p.id != "" && !shortName.MatchString(p.id) {
			return &Problem{p.part, fmt.Sprintf("%.80q is not an id; one has 1 to 64 lower-case letters, digits and hyphens within", p.id)}
		}
	}
	return nil
}

// words spells a role for people: "yard manager".
func words(r Role) string { return strings.ReplaceAll(string(r), "_", " ") }

func roleNames() string {
	var names []string
	for _, r := range Roles() {
		names = append(names, string(r))
	}
	return strings.Join(names, ", ")
}

type contextKey struct{}

// With returns a context that carries id.
func With(ctx context.Context, id Identity) context.Context {
	return context.WithValue(ctx, contextKey{}, id)
}

// From returns the identity that ctx carries, if any.
func From(ctx context.Context) (Identity, bool) {
	id, ok := ctx.Value(contextKey{}).(Identity)
	return id, ok
}

// Must returns the identity that ctx carries. It panics when there is none:
// call it only behind the auth interceptor or in an event handler, where one
// is always there.
func Must(ctx context.Context) Identity {
	id, ok := From(ctx)
	if !ok {
		panic("identity: the context carries no identity; call identity.With first")
	}
	return id
}
