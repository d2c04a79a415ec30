package settings

import (
	"crypto/tls"
	"fmt"

	"breakshare.example/services/platform/config"
	"breakshare.example/services/platform/intake"
	"breakshare.example/services/platform/localnats"
)

// MQTT is how instruments of yards and rooms send readings over MQTT 3.1.1: to the listener of
// the private bus, or to that of a NATS of your own. Off where all of it is left out.
type MQTT struct {
	// Listen is the address of the private bus's listener, for example "127.0.0.1:1883". Empty
	// opens none. Beyond loopback it needs certificate and key, or plain.
	Listen string `json:"listen"`
	// Certificate and Key are files in PEM with which the listener speaks TLS.
	Certificate string `json:"certificate"`
	Key         string `json:"key"`
	// Plain allows a listener beyond loopback without TLS: passwords and readings can then be
	// heard, and changed, by whoever is on the same network.
	Plain bool `json:"plain"`
	// Devices are the instruments that the listener lets in.
	Devices []Device `json:"devices"`
	// Remote says that the NATS at nats_url has an MQTT listener of its own; who may publish
	// what is then settled there.
	Remote bool `json:"remote"`
}

// Device is an instrument, or a logger with several, of one yard or one farm.
type Device struct {
	// Name is the MQTT user name.
	Name string `json:"name"`
	// Password, at least 16 characters, or its bcrypt hash ("$2a$…").
	Password string `json:"password"`
	// CoopID is the co-op, a UUID.
	CoopID string `json:"coop_id"`
	// YardID is the yard whose lots it reads; or FarmID the farm whose rooms it reads.
	YardID string `json:"yard_id"`
	// FarmID: see YardID.
	FarmID string `json:"farm_id"`
}

const leastPassword = 16

// On reports whether instruments send readings.
func (m MQTT) On() bool { return m.Listen != "" || m.Remote }

// check reports what cannot be; remote is the settings' nats_url.
func (m MQTT) check(r *config.Report, natsURL string) {
	if m.Remote && natsURL == "" {
		r.Add("remote", "is set without nats_url", "give nats_url, or take remote out and give listen")
	}
	if m.Listen != "" && natsURL != "" {
		r.Add("listen", "belongs to the private bus, and nats_url names another", "open the listener on that server, set remote, and take listen out")
	}
	if m.Listen == "" {
		if len(m.Devices) > 0 {
			r.Add("devices", "are named and nothing listens", `give listen, for example "127.0.0.1:1883"`)
		}
		return
	}
	if (m.Certificate == "") != (m.Key == "") {
		r.Add("certificate", "and key go together", "give both or neither")
	}
	if !Loopback(m.Listen) && m.Certificate == "" && !m.Plain {
		r.Add("listen", "is "+m.Listen+", which others can reach, without TLS", "give certificate and key; or plain, where the network is your own and you accept that it can be overheard")
	}
	names := map[string]bool{}
	for i, d := range m.Devices {
		at := r.Section(fmt.Sprintf("devices[%d]", i))
		if names[d.Name] {
			at.Add("name", "is there twice", "give every device its own")
		}
		names[d.Name] = true
		d.check(at)
	}
}

func (d Device) check(r *config.Report) {
	if d.Name == "" || d.Name == "breakshare" {
		r.Add("name", "is empty or taken", `give a name such as "quarry-logger"`)
	}
	if len(d.Password) < leastPassword {
		r.Add("password", "is shorter than 16 characters", "give a long random one, or its bcrypt hash")
	}
	if (d.YardID == "") == (d.FarmID == "") {
		r.Add("yard_id", "or farm_id must be given, and not both", "say whose instrument it is")
		return
	}
	if _, err := d.topics(); err != nil {
		r.Add("coop_id", "with yard_id or farm_id makes no topic ("+err.Error()+")", "give the co-op's UUID and the id of the yard or farm")
	}
}

// topics is where the device may publish.
func (d Device) topics() (string, error) {
	if d.YardID != "" {
		return intake.Allowed(d.CoopID, "compostlot", d.YardID)
	}
	return intake.Allowed(d.CoopID, "harvest", d.FarmID)
}

// Listener is the private bus's listener, nil for none. The settings have been checked; it
// fails when certificate or key cannot be read.
func (m MQTT) Listener() (*localnats.MQTT, error) {
	if m.Listen == "" {
		return nil, nil
	}
	out := &localnats.MQTT{Listen: m.Listen}
	if m.Certificate != "" {
		pair, err := tls.LoadX509KeyPair(m.Certificate, m.Key)
		if err != nil {
			return nil, fmt.Errorf("mqtt: %w", err)
		}
		out.TLS = &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}
	}
	for _, d := range m.Devices {
		topics, err := d.topics()
		if err != nil {
			return nil, fmt.Errorf("mqtt: device %s: %w", d.Name, err)
		}
		out.Devices = append(out.Devices, localnats.Device{Name: d.Name, Password: d.Password, Publish: topics})
	}
	return out, nil
}
