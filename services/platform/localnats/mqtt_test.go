package localnats_test

import (
	"crypto/tls"
	"crypto/x509"
	"net/http/httptest"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"breakshare.example/services/platform/localnats"
)

// With a certificate the listener speaks TLS, and nothing but.
func TestMQTTOverTLS(t *testing.T) {
	t.Parallel()
	lender := httptest.NewTLSServer(nil) // has a certificate for example.com
	certificates, roots := lender.TLS.Certificates, x509.NewCertPool()
	roots.AddCert(lender.Certificate())
	lender.Close()
	s, err := localnats.Start(t.Context(), localnats.Options{Folder: t.TempDir(), Quick: true, MQTT: &localnats.MQTT{
		Listen: "127.0.0.1:0", TLS: &tls.Config{Certificates: certificates, MinVersion: tls.VersionTLS12},
		Devices: []localnats.Device{{Name: "logger", Password: "secret", Publish: "readings.>"}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stop(t, s) })
	dial := func(scheme string) error {
		c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(scheme + "://" + s.MQTTAddr().String()).SetClientID("logger-1").SetUsername("logger").SetPassword("secret").
			SetAutoReconnect(false).SetConnectTimeout(time.Second).SetProtocolVersion(4).SetTLSConfig(&tls.Config{RootCAs: roots, ServerName: "example.com", MinVersion: tls.VersionTLS12}))
		token := c.Connect()
		token.Wait()
		c.Disconnect(0)
		return token.Error()
	}
	if err := dial("ssl"); err != nil {
		t.Errorf("over TLS: %v", err)
	}
	if dial("tcp") == nil {
		t.Error("connected in the clear")
	}
}
