package localnats_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"go.uber.org/goleak"

	"breakshare.example/services/platform/localnats"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func start(t *testing.T, folder string) *localnats.Server {
	t.Helper()
	s, err := localnats.Start(t.Context(), localnats.Options{Folder: folder})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stop(t, s) })
	return s
}

func stop(t *testing.T, s *localnats.Server) {
	t.Helper()
	if err := s.Stop(context.Background()); err != nil {
		t.Error(err)
	}
}

func streams(t *testing.T, s *localnats.Server) (jetstream.JetStream, *nats.Conn) {
	t.Helper()
	conn, err := nats.Connect("", nats.InProcessServer(s.NATS()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(conn.Close)
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	return js, conn
}

func TestMessagesOutliveTheServer(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "data", "bus") // made on the way
	first := start(t, folder)
	js, conn := streams(t, first)
	if _, err := js.CreateStream(t.Context(), jetstream.StreamConfig{Name: "KEPT", Subjects: []string{"kept"}}); err != nil {
		t.Fatal(err)
	}
	if _, err := js.Publish(t.Context(), "kept", []byte("a pick")); err != nil {
		t.Fatal(err)
	}
	conn.Close()
	stop(t, first)
	stop(t, first) // twice is harmless

	js, _ = streams(t, start(t, folder))
	s, err := js.Stream(t.Context(), "KEPT")
	if err != nil {
		t.Fatal(err)
	}
	m, err := s.GetMsg(t.Context(), 1)
	if err != nil || string(m.Data) != "a pick" {
		t.Errorf("after a restart message 1 is %v, %v; want the one published before", m, err)
	}
}

func TestNoSocketIsOpened(t *testing.T) {
	t.Parallel()
	s := start(t, t.TempDir())
	if addr := s.NATS().Addr(); addr != nil {
		t.Errorf("the server listens on %v, want no listener", addr)
	}
}

func TestStartSaysWhatIsWrongWithTheFolder(t *testing.T) {
	t.Parallel()
	if _, err := localnats.Start(t.Context(), localnats.Options{}); err == nil {
		t.Error("Start without a folder succeeded")
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := localnats.Start(t.Context(), localnats.Options{Folder: file}); err == nil {
		t.Error("Start with a file for a folder succeeded")
	}
}

func TestMQTTSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	devices := []localnats.Device{{Name: "logger", Password: "secret", Publish: "readings.>"}}
	for name, m := range map[string]localnats.MQTT{
		"no address":    {Listen: "1883", Devices: devices},
		"no port":       {Listen: "127.0.0.1:mqtt", Devices: devices},
		"no password":   {Listen: "127.0.0.1:0", Devices: []localnats.Device{{Name: "logger", Publish: "readings.>"}}},
		"the own name":  {Listen: "127.0.0.1:0", Devices: []localnats.Device{{Name: "breakshare", Password: "secret", Publish: "readings.>"}}},
		"not preparing": {Listen: "127.0.0.1:0", Prepare: func(context.Context, *localnats.Server) error { return errors.New("no") }},
	} {
		s, err := localnats.Start(t.Context(), localnats.Options{Folder: t.TempDir(), MQTT: &m, Quick: true})
		if err == nil {
			stop(t, s)
			t.Errorf("%s: started", name)
		}
	}
}

// With a listener the suite itself has a login; there is still no socket but the listener's.
func TestMQTTGivesTheSuiteALogin(t *testing.T) {
	t.Parallel()
	s, err := localnats.Start(t.Context(), localnats.Options{Folder: t.TempDir(), Quick: true, MQTT: &localnats.MQTT{Listen: "127.0.0.1:0"}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stop(t, s) })
	login := s.Login()
	conn, err := nats.Connect("", nats.InProcessServer(s.NATS()), nats.UserInfo(login.User, login.Password))
	if err != nil {
		t.Fatal(err)
	}
	conn.Close()
	if s.MQTTAddr() == nil || s.NATS().Addr() != nil {
		t.Errorf("listens on %v for instruments and on %v for others", s.MQTTAddr(), s.NATS().Addr())
	}
}
