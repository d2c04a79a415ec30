package localnats

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"strconv"

	"github.com/nats-io/nats-server/v2/server"
)

// MQTT is a listener for instruments that speak MQTT 3.1.1.
type MQTT struct {
	// Listen is the address, for example "127.0.0.1:1883"; port 0 takes a free one.
	Listen string
	// TLS keeps passwords and readings from other ears; nil speaks in the clear.
	TLS *tls.Config
	// Devices that may connect, by name each once.
	Devices []Device
	// Prepare is called with a server that does not listen yet, so that what must
	// stand before the first instrument publishes can be made; nil makes nothing.
	Prepare func(ctx context.Context, s *Server) error
}

// Device is an instrument, or a logger with several, and where it may publish.
type Device struct {
	Name     string
	Password string // or its bcrypt hash
	// Publish is the subject pattern below which it may publish; it may subscribe
	// to nothing.
	Publish string
}

// Login is a user of the server.
type Login struct{ User, Password string }

// suite is the name of the user that the suite itself is.
const suite = "breakshare"

// Ways in which a user may connect, as the server names them.
const (
	inProcess = "IN_PROCESS"
	overMQTT  = "MQTT"
)

// startMQTT starts the server twice: once without the listener for what must
// stand before an instrument connects, then with it.
func startMQTT(ctx context.Context, plain server.Options, o Options) (*Server, error) {
	host, portText, err := net.SplitHostPort(o.MQTT.Listen)
	if err != nil {
		return nil, fmt.Errorf("localnats: mqtt: %w", err)
	}
	port, err := strconv.Atoi(portText)
	if err != nil || port < 0 || port > 65535 {
		return nil, fmt.Errorf("localnats: mqtt: %q is no port", portText)
	}
	if port == 0 {
		port = server.RANDOM_PORT
	}
	if o.MQTT.Prepare != nil {
		if err := prepare(ctx, plain, o); err != nil {
			return nil, fmt.Errorf("localnats: prepare for instruments: %w", err)
		}
	}
	login := Login{suite, rand.Text()}
	opts := plain
	opts.Users = append(opts.Users, &server.User{
		Username: login.User, Password: login.Password, AllowedConnectionTypes: map[string]struct{}{inProcess: {}},
	})
	for _, d := range o.MQTT.Devices {
		if d.Name == suite || d.Name == "" || d.Password == "" || d.Publish == "" {
			return nil, fmt.Errorf("localnats: mqtt: device %q needs a name other than %q, a password, and where it may publish", d.Name, suite)
		}
		opts.Users = append(opts.Users, &server.User{
			Username: d.Name, Password: d.Password, AllowedConnectionTypes: map[string]struct{}{overMQTT: {}},
			Permissions: &server.Permissions{
				Publish:   &server.SubjectPermission{Allow: []string{d.Publish}},
				Subscribe: &server.SubjectPermission{Deny: []string{">"}},
			},
		})
	}
	opts.MQTT = server.MQTTOpts{Host: host, Port: port, TLSConfig: o.MQTT.TLS}
	s, err := run(ctx, opts, o.Log)
	if err != nil {
		return nil, fmt.Errorf("localnats: mqtt on %s: %w", o.MQTT.Listen, err)
	}
	return &Server{nats: s, login: login}, nil
}

// prepare runs Prepare on a server without the listener.
func prepare(ctx context.Context, plain server.Options, o Options) error {
	s, err := run(ctx, plain, o.Log)
	if err != nil {
		return err
	}
	before := &Server{nats: s}
	err = o.MQTT.Prepare(ctx, before)
	return errors.Join(err, before.Stop(ctx))
}

// MQTTAddr is where the listener for instruments is; nil without one.
func (s *Server) MQTTAddr() net.Addr {
	varz, err := s.nats.Varz(nil)
	if err != nil || varz.MQTT.Port == 0 {
		return nil
	}
	host := varz.MQTT.Host
	return &net.TCPAddr{IP: net.ParseIP(host), Port: varz.MQTT.Port}
}
