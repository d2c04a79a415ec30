package rpc

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// Policy says which roles may call which method: full method name
// ("/package.Service/Method") to roles. A method that is absent is refused to
// everyone. Whose things a caller may touch is the handler's question.
type Policy map[string][]identity.Role

// Allows reports whether the role may call the method.
func (p Policy) Allows(method string, role identity.Role) bool {
	return slices.Contains(p[method], role)
}

// openPrefixes are the services that anyone who can connect may call, without
// a token: health for probes, reflection for tools.
var openPrefixes = []string{"/grpc.health.v1.Health/", "/grpc.reflection."}

// isOpen reports whether a method needs no token and leaves no log line.
func isOpen(method string) bool {
	return slices.ContainsFunc(openPrefixes, func(p string) bool { return strings.HasPrefix(method, p) })
}

// policies is a Policy that grows while services register.
type policies struct {
	mu     sync.RWMutex
	policy Policy
}

// add merges p. A method may be named again with the same roles; other roles
// are a mistake of two services claiming one method, and panic.
func (ps *policies) add(p Policy) {
	ps.mu.Lock()
	defer ps.mu.Unlock()
	if ps.policy == nil {
		ps.policy = Policy{}
	}
	for method, roles := range p {
		roles = slices.Sorted(slices.Values(roles))
		if had, ok := ps.policy[method]; ok && !slices.Equal(had, roles) {
			panic(fmt.Sprintf("rpc: two policies for %s: %v and %v; keep one", method, had, roles))
		}
		ps.policy[method] = roles
	}
}

// check refuses a caller whose role may not call the method.
func (ps *policies) check(method string, role identity.Role) error {
	ps.mu.RLock()
	defer ps.mu.RUnlock()
	roles, ok := ps.policy[method]
	if !ok {
		return fault.New(fault.Forbidden, "METHOD_WITHOUT_POLICY", "%s is open to no role", method)
	}
	if !slices.Contains(roles, role) {
		return fault.New(fault.Forbidden, "ROLE_NOT_ALLOWED", "the role %s may not call %s", role, method).
			WithMeta("role", string(role))
	}
	return nil
}

// snapshot returns a copy of the policy as it stands.
func (ps *policies) snapshot() Policy {
	ps.mu.RLock()
	defer ps.mu.RUnlock()
	return maps.Clone(ps.policy)
}
