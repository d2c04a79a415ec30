package host

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"

	"google.golang.org/grpc"

	"breakshare.example/services/platform/rpc"
)

// Peers gives out the connections to the other services, one per service,
// made when first asked for. Its Dial method is made for Host.Dial.
type Peers struct {
	targets map[string]string
	options rpc.DialOptions

	mu     sync.Mutex
	conns  map[string]*grpc.ClientConn
	closed bool
}

// NewPeers takes the gRPC target of each service by its short name, and how to
// dial them.
func NewPeers(targets map[string]string, o rpc.DialOptions) *Peers {
	return &Peers{targets: maps.Clone(targets), options: o, conns: map[string]*grpc.ClientConn{}}
}

// Dial returns the connection to the service. It fails for a service without a
// target, for a target that rpc.Dial refuses, and after Close.
func (p *Peers) Dial(service string) (*grpc.ClientConn, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return nil, fmt.Errorf("dial %s: the connections are closed", service)
	}
	if conn, ok := p.conns[service]; ok {
		return conn, nil
	}
	target, ok := p.targets[service]
	if !ok {
		known := strings.Join(slices.Sorted(maps.Keys(p.targets)), ", ")
		return nil, fmt.Errorf("dial %s: its address is not configured; configured are: %s", service, known)
	}
	conn, err := rpc.Dial(target, p.options)
	if err != nil {
		return nil, err
	}
	p.conns[service] = conn
	return conn, nil
}

// Close closes all connections.
func (p *Peers) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.closed = true
	var errs []error
	for _, service := range slices.Sorted(maps.Keys(p.conns)) {
		errs = append(errs, p.conns[service].Close())
	}
	clear(p.conns)
	return errors.Join(errs...)
}
