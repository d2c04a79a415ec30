package rpc

import (
	"errors"
	"net"
	"net/netip"
	"strings"
)

// ErrNeedsTLS is wrapped where a connection would leave the machine in the
// clear.
var ErrNeedsTLS = errors.New("beyond loopback only with TLS: set the TLS certificate, key and authority, or use 127.0.0.1, [::1], localhost or a unix socket")

// isLoopbackAddr reports whether a listener's address cannot be reached from
// another machine.
func isLoopbackAddr(addr net.Addr) bool {
	switch addr.Network() {
	case "unix", "bufconn":
		return true
	}
	return isLoopbackHostPort(addr.String())
}

// isLoopbackTarget reports whether a gRPC target (scheme optional) stays on
// this machine.
func isLoopbackTarget(target string) bool {
	if strings.HasPrefix(target, "unix:") || strings.HasPrefix(target, "unix-abstract:") {
		return true
	}
	if _, rest, ok := strings.Cut(target, ":///"); ok {
		target = rest
	}
	return isLoopbackHostPort(target)
}

func isLoopbackHostPort(hostport string) bool {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		host = hostport
	}
	if host == "localhost" {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.Unmap().IsLoopback()
}
