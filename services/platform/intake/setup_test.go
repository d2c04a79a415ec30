package intake_test

import (
	"context"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"go.uber.org/goleak"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/intake"
	"breakshare.example/services/platform/localnats"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m, testkit.IgnoreCluster()) }

const service = "compostlot"

// heat is what the service of these tests keeps: one value for a probe and a time.
var migrations = fstest.MapFS{"00001_heat.sql": {Data: []byte(`-- +goose Up
CREATE TABLE heat (
    coop_id uuid        NOT NULL DEFAULT current_setting('breakshare.coop')::uuid,
    probe   text        NOT NULL,
    time    timestamptz NOT NULL,
    milli   bigint      NOT NULL,
    PRIMARY KEY (coop_id, probe, time)
);
SELECT coop_scoped('heat');
-- +goose Down
DROP TABLE heat;
`)}}

// stand is a bus with a listener for instruments and a service's database.
type stand struct {
	folder string
	pool   *pgxpool.Pool
	server *localnats.Server
	bus    *bus.Bus

	mu  sync.Mutex
	err error // of Take while it is set
}

const password = "a-long-password-of-a-logger"

var coop = testkit.Coop()

func newStand(t *testing.T) *stand {
	t.Helper()
	s := &stand{folder: t.TempDir(), pool: testkit.Pool(t, pg.Schema{Service: service, Migrations: migrations})}
	s.up(t)
	t.Cleanup(func() { s.down(t) })
	return s
}

// up starts the bus on a free port.
func (s *stand) up(t *testing.T) {
	t.Helper()
	log := slog.New(slog.DiscardHandler)
	below, err := intake.Allowed(coop.CoopID, service, "quarry")
	if err != nil {
		t.Fatal(err)
	}
	s.server, err = localnats.Start(t.Context(), localnats.Options{Folder: s.folder, Log: log, MQTT: &localnats.MQTT{
		Listen:  "127.0.0.1:0",
		Devices: []localnats.Device{{Name: "quarry-logger", Password: password, Publish: below}},
		Prepare: func(ctx context.Context, server *localnats.Server) error {
			b, err := bus.Connect(ctx, bus.Options{InProcess: server.NATS(), Log: log})
			if err != nil {
				return err
			}
			defer b.Close()
			return intake.Ensure(ctx, b, service)
		},
	}})
	if err != nil {
		t.Fatal(err)
	}
	login := s.server.Login()
	if s.bus, err = bus.Connect(t.Context(), bus.Options{InProcess: s.server.NATS(), Log: log, User: login.User, Password: login.Password}); err != nil {
		t.Fatal(err)
	}
}

func (s *stand) down(t *testing.T) {
	t.Helper()
	s.bus.Close()
	if err := s.server.Stop(context.Background()); err != nil {
		t.Error(err)
	}
}

// consume takes readings until the test ends or the returned function is called.
func (s *stand) consume(t *testing.T) (stop func()) {
	t.Helper()
	c, err := intake.New(intake.Options{
		Service: service, Bus: s.bus, Pool: s.pool, Take: s.take, Log: slog.New(slog.DiscardHandler), Pause: 10 * time.Millisecond,
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	<-c.Started()
	stop = func() {
		if err := c.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	}
	t.Cleanup(stop)
	return stop
}

func (s *stand) fail(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.err = err
}

// take keeps temperatures of °C, and refuses what is named otherwise.
func (s *stand) take(ctx context.Context, list []intake.Message) (refused []intake.Refusal, err error) {
	s.mu.Lock()
	err = s.err
	s.mu.Unlock()
	if err != nil {
		return nil, err
	}
	return refused, pg.InTx(ctx, s.pool, identity.Must(ctx).CoopID, func(ctx context.Context, tx pgx.Tx) error {
		refused = nil
		for _, m := range list {
			if m.Topic.Kind != "compost_temperature" {
				refused = append(refused, intake.Refusal{Message: m, Reason: m.Topic.Kind + " is nothing that this service knows"})
				continue
			}
			for _, v := range m.Values {
				milli, err := v.Scaled(1000)
				if err != nil {
					return err
				}
				const sql = `INSERT INTO heat (probe, time, milli) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING`
				if _, err := tx.Exec(ctx, sql, strings.Join(m.Topic.Names, "/"), v.Time, milli); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

// heat returns what is kept, by probe and time.
func (s *stand) heat(t *testing.T) map[string]int64 {
	t.Helper()
	out := map[string]int64{}
	var probe string
	var at time.Time
	var milli int64
	s.read(t, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT probe, time, milli FROM heat`)
		if err != nil {
			return err
		}
		_, err = pgx.ForEachRow(rows, []any{&probe, &at, &milli}, func() error {
			out[probe+" "+at.UTC().Format(time.RFC3339)] = milli
			return nil
		})
		return err
	})
	return out
}

func (s *stand) refused(t *testing.T, place string) (list []intake.Refused) {
	t.Helper()
	s.read(t, func(ctx context.Context, tx pgx.Tx) (err error) {
		list, err = intake.ListRefused(ctx, tx, place)
		return err
	})
	return list
}

func (s *stand) read(t *testing.T, fn func(ctx context.Context, tx pgx.Tx) error) {
	t.Helper()
	if err := pg.InReadTx(t.Context(), s.pool, coop.CoopID, fn); err != nil {
		t.Fatal(err)
	}
}

// dial connects an instrument.
func (s *stand) dial(t *testing.T, user, pass string) (mqtt.Client, error) {
	t.Helper()
	o := mqtt.NewClientOptions().AddBroker("tcp://" + s.server.MQTTAddr().String()).SetClientID(ids.New()).
		SetUsername(user).SetPassword(pass).SetAutoReconnect(false).SetConnectTimeout(10 * time.Second)
	c := mqtt.NewClient(o)
	token := c.Connect()
	token.Wait()
	return c, token.Error()
}

func (s *stand) device(t *testing.T) mqtt.Client {
	t.Helper()
	c, err := s.dial(t, "quarry-logger", password)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

// publish sends a payload and waits for the acknowledgement.
func publish(t *testing.T, c mqtt.Client, qos byte, topic, payload string) {
	t.Helper()
	token := c.Publish(topic, qos, false, payload)
	if !token.WaitTimeout(10 * time.Second) {
		t.Fatalf("%s is not acknowledged", topic)
	}
	if err := token.Error(); err != nil {
		t.Fatal(err)
	}
}

func below(rest string) string { return "readings/" + coop.CoopID + "/compostlot/quarry/" + rest }
