package identity_test

import (
	"context"
	"errors"
	"testing"

	"breakshare.example/services/platform/identity"
)

const (
	coop  = "0198a000-0000-7000-8000-000000000001"
	thing = "0198a000-0000-7000-8000-000000000002"
)

func TestValidate(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name string
		id   identity.Identity
		part string // "" where the identity is whole
	}{
		{"coordinator", identity.Identity{CoopID: coop, Role: identity.Coordinator}, ""},
		{"service", identity.Identity{CoopID: coop, Role: identity.Service}, ""},
		{"operator", identity.Identity{CoopID: coop, Role: identity.Operator, Name: "Ines"}, ""},
		{"grower with farm", identity.Identity{CoopID: coop, Role: identity.Grower, FarmID: thing}, ""},
		{"yard manager with yard", identity.Identity{CoopID: coop, Role: identity.YardManager, YardID: thing}, ""},
		{"buyer with customer", identity.Identity{CoopID: coop, Role: identity.Buyer, CustomerID: thing}, ""},
		{"nothing", identity.Identity{}, "co-op"},
		{"co-op is a name", identity.Identity{CoopID: "Oak Vale", Role: identity.Coordinator}, "co-op"},
		{"no role", identity.Identity{CoopID: coop}, "role"},
		{"unknown role", identity.Identity{CoopID: coop, Role: "Coordinator"}, "role"},
		{"grower without farm", identity.Identity{CoopID: coop, Role: identity.Grower, YardID: thing}, "farm"},
		{"yard manager without yard", identity.Identity{CoopID: coop, Role: identity.YardManager}, "yard"},
		{"buyer without customer", identity.Identity{CoopID: coop, Role: identity.Buyer}, "customer"},
		{"grower of a farm with a short name", identity.Identity{CoopID: coop, Role: identity.Grower, FarmID: "alder-brook"}, ""},
		{"farm is a title", identity.Identity{CoopID: coop, Role: identity.Grower, FarmID: "Alder Brook Farm"}, "farm"},
		{"stray customer ends in a hyphen", identity.Identity{CoopID: coop, Role: identity.Coordinator, CustomerID: "x-"}, "customer"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			err := tc.id.Validate()
			var p *identity.Problem
			switch {
			case tc.part == "" && err != nil:
				t.Errorf("Validate() = %v, want none", err)
			case tc.part != "" && !errors.As(err, &p):
				t.Errorf("Validate() = %v, want a problem with the %s", err, tc.part)
			case tc.part != "" && p.Part != tc.part:
				t.Errorf("problem with %q, want %q", p.Part, tc.part)
			}
		})
	}
}

func TestContext(t *testing.T) {
	t.Parallel()
	if id, ok := identity.From(context.Background()); ok {
		t.Errorf("an empty context carries %v", id)
	}
	want := identity.Identity{CoopID: coop, Role: identity.Service}
	ctx := identity.With(context.Background(), want)
	if got, ok := identity.From(ctx); !ok || got != want {
		t.Errorf("From() = %v, %v; want %v", got, ok, want)
	}
	if got := identity.Must(ctx); got != want {
		t.Errorf("Must() = %v, want %v", got, want)
	}
}

func TestMustPanicsWithoutIdentity(t *testing.T) {
	t.Parallel()
	defer func() {
		if recover() == nil {
			t.Error("Must() did not panic on a context without an identity")
		}
	}()
	identity.Must(context.Background())
}
