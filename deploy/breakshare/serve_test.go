package main

import (
	"encoding/json"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/nats-io/nats-server/v2/server"

	"breakshare.example/deploy/onemachine"
	"breakshare.example/deploy/settings"
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/platform/testkit"
)

// TestServicesInProcessesOfTheirOwn runs each service as its own process on a PostgreSQL and a
// NATS that they share, and has one need what another knows.
func TestServicesInProcessesOfTheirOwn(t *testing.T) {
	t.Parallel()
	s := settings.Default()
	s.Data = filepath.Join(testkit.Folder(t), "data")
	s.PostgresURL, s.NATSURL = testkit.Postgres(t), startNATS(t)
	s.Addresses = make(map[string]string)
	for _, name := range onemachine.Services() {
		s.Addresses[name] = freeAddress(t)
	}
	tokens, err := onemachine.Tokens(s, clock.System()) // makes the key that they share
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range onemachine.Services() {
		serveAlone(t, name, s)
	}
	peers := host.NewPeers(s.Addresses, rpc.DialOptions{Tokens: tokens, Caller: "test", Repeatable: []string{
		schedulingv1.SchedulingService_SaveFarm_FullMethodName, // the service may still be coming up
	}})
	t.Cleanup(func() { _ = peers.Close() })
	scheduling, err := peers.Dial("scheduling")
	if err != nil {
		t.Fatal(err)
	}
	compostlot, err := peers.Dial("compostlot")
	if err != nil {
		t.Fatal(err)
	}

	ctx := testkit.Context(t, testkit.Coop())
	farms := schedulingv1.NewSchedulingServiceClient(scheduling)
	farm := &schedulingv1.SaveFarmRequest{RequestId: uuid.NewString(), Farm: &schedulingv1.Farm{FarmId: "stone-lane", Name: "Stone Lane", MemberShares: 1}}
	testkit.Eventually(t, "scheduling to answer", func() bool {
		_, err := farms.SaveFarm(ctx, farm)
		if err != nil && fault.KindOf(err) != fault.Unavailable && fault.KindOf(err) != fault.Deadline {
			t.Fatal(err)
		}
		return err == nil
	})
	if _, err := farms.SaveRoom(ctx, &schedulingv1.SaveRoomRequest{RequestId: uuid.NewString(), Room: &schedulingv1.Room{
		RoomId: "stone-lane-1", FarmId: "stone-lane", Name: "House 1", AreaM2: 90, GrowingSystem: typev1.GrowingSystem_GROWING_SYSTEM_SHELVES,
	}}); err != nil {
		t.Fatal(err)
	}
	request := &compostlotv1.RequestCompostRequest{RequestId: uuid.NewString(), CompostRequest: &compostlotv1.CompostRequest{
		FarmId: "stone-lane", RoomId: "stone-lane-1", WantedKg: 9000, EarliestDate: "2027-01-04", LatestDate: "2027-01-15",
		Phases: []typev1.CompostPhase{typev1.CompostPhase_COMPOST_PHASE_ONE},
	}}
	testkit.Eventually(t, "compostlot to take a request for a room that scheduling knows", func() bool {
		_, err := compostlotv1.NewCompostLotServiceClient(compostlot).RequestCompost(ctx, request)
		if err != nil && fault.KindOf(err) != fault.Unavailable && fault.KindOf(err) != fault.Deadline {
			t.Fatal(err)
		}
		return err == nil
	})
}

// serveAlone runs `breakshare serve NAME` until the test ends, and expects it to end well when
// it is asked to.
func serveAlone(t *testing.T, name string, s settings.Settings) {
	t.Helper()
	config := filepath.Join(t.TempDir(), name+".json")
	content, err := json.Marshal(map[string]any{"data": s.Data, "postgres_url": s.PostgresURL, "nats_url": s.NATSURL, "addresses": s.Addresses})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(config, content, 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(os.Args[0], "serve", "--config", config, name)
	cmd.Env = append(os.Environ(), asBinary+"=1")
	cmd.Stderr = t.Output()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
			t.Error(err)
		}
		if err := cmd.Wait(); err != nil {
			t.Errorf("serve %s ended with %v", name, err)
		}
	})
}

func startNATS(t *testing.T) string {
	t.Helper()
	nats, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: server.RANDOM_PORT, JetStream: true, StoreDir: t.TempDir(), NoLog: true, NoSigs: true})
	if err != nil {
		t.Fatal(err)
	}
	nats.Start()
	t.Cleanup(func() { nats.Shutdown(); nats.WaitForShutdown() })
	if !nats.ReadyForConnections(10 * time.Second) {
		t.Fatal("the NATS server did not come up")
	}
	return nats.ClientURL()
}

func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"nothing asked":           {nil, 2, "usage: breakshare"},
		"unknown command":         {[]string{"grow"}, 2, `there is no command "grow"`},
		"unknown service":         {[]string{"serve", "packing"}, 2, `there is no service "packing"`},
		"service without servers": {[]string{"serve", "order"}, 2, "postgres_url is empty"},
		"open to others":          {[]string{"all", "--listen", "0.0.0.0:8080"}, 1, "no sign-in yet"},
		"settings missing":        {[]string{"all", "--config", "/does/not/exist.json"}, 1, "/does/not/exist.json"},
		"unknown problem":         {[]string{"solve", "weather", "x"}, 2, "flow"},
		"no folder":               {[]string{"import"}, 2, "DIR"},
		"extra argument":          {[]string{"version", "now"}, 2, "want 0 argument(s)"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var out, said strings.Builder
			if code := run(t.Context(), c.args, streams{out: &out, err: &said}); code != c.code {
				t.Errorf("exit code %d, want %d", code, c.code)
			}
			if !strings.Contains(said.String(), c.says) {
				t.Errorf("said %q, want it to contain %q", said.String(), c.says)
			}
			if out.Len() > 0 {
				t.Errorf("wrote %q to stdout", out.String())
			}
		})
	}
}
