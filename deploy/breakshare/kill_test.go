package main

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"

	"breakshare.example/deploy/onemachine"
	"breakshare.example/deploy/settings"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/platform/testkit"
)

// asBinary has the test's own binary be breakshare, so that it can be killed as one.
const asBinary = "BREAKSHARE_TEST_AS_BINARY"

func TestMain(m *testing.M) {
	if os.Getenv(asBinary) != "" {
		main()
		return
	}
	os.Exit(m.Run())
}

// TestKilledAtAnyMomentLosesNothing places orders from several callers while the whole suite,
// its private PostgreSQL and bus included, is killed again and again, and then looks for every
// order that was acknowledged.
func TestKilledAtAnyMomentLosesNothing(t *testing.T) {
	t.Parallel()
	data := filepath.Join(testkit.Folder(t), "data")
	who := testkit.Coop()
	var acknowledged []string
	for life := range 3 {
		suite := launch(t, data)
		client := suite.orders(t, data)
		if life == 0 {
			stock(t, testkit.Context(t, who), client)
		}
		// The kill falls at another point of the callers' work each time.
		acknowledged = append(acknowledged, placeUntilKilled(t, suite, client, who, life, 25+17*life)...)
	}
	suite := launch(t, data)
	defer suite.kill(t)
	listed, err := suite.orders(t, data).ListOrders(testkit.Context(t, who), &orderv1.ListOrdersRequest{DeliveryDate: "2026-11-26"})
	if err != nil {
		t.Fatal(err)
	}
	kept := make(map[string]bool)
	for _, o := range listed.GetOrders() {
		kept[o.GetOrderId()] = true
	}
	for _, id := range acknowledged {
		if !kept[id] {
			t.Errorf("order %s was acknowledged and is gone", id)
		}
	}
	if len(acknowledged) < 60 {
		t.Errorf("only %d orders were acknowledged: the test proves little", len(acknowledged))
	}
}

// suite is breakshare in a process of its own.
type suite struct {
	process *exec.Cmd
	peers   *host.Peers
}

// launch starts the suite and waits until it says that it serves.
func launch(t *testing.T, data string) *suite {
	t.Helper()
	cmd := exec.Command(os.Args[0], "all", "--data", data, "--listen", "127.0.0.1:0")
	cmd.Env = append(os.Environ(), asBinary+"=1")
	cmd.Stderr = t.Output()
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	s := &suite{process: cmd}
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil || !strings.HasPrefix(line, "serving on") {
		t.Fatalf("the suite said %q, %v", line, err)
	}
	return s
}

func (s *suite) kill(t *testing.T) {
	t.Helper()
	if err := s.process.Process.Signal(syscall.SIGKILL); err != nil {
		t.Error(err)
	}
	_ = s.process.Wait()
}

func (s *suite) orders(t *testing.T, data string) orderv1.OrderServiceClient {
	t.Helper()
	where, err := onemachine.ReadAddresses(data)
	if err != nil {
		t.Fatal(err)
	}
	config := settings.Default()
	config.Data = data
	tokens, err := onemachine.Tokens(config, clock.System())
	if err != nil {
		t.Fatal(err)
	}
	s.peers = host.NewPeers(where.Services, rpc.DialOptions{Tokens: tokens, Caller: "test"})
	t.Cleanup(func() { _ = s.peers.Close() })
	connection, err := s.peers.Dial("order")
	if err != nil {
		t.Fatal(err)
	}
	return orderv1.NewOrderServiceClient(connection)
}

func stock(t *testing.T, ctx context.Context, client orderv1.OrderServiceClient) {
	t.Helper()
	_, err := client.SaveProduct(ctx, &orderv1.SaveProductRequest{RequestId: uuid.NewString(), Product: &orderv1.Product{
		ProductId: "oyster-1kg", Name: "Oyster, 1 kg", Species: "oyster mushroom", PickStage: typev1.PickStage_PICK_STAGE_UNSPECIFIED,
		PackGrams: 1000, PackValueMinor: 900, ShelfLifeDays: 2,
	}})
	if err != nil {
		t.Fatal(err)
	}
	_, err = client.SaveCustomer(ctx, &orderv1.SaveCustomerRequest{RequestId: uuid.NewString(), Customer: &orderv1.Customer{CustomerId: "copper-pan", Name: "The Copper Pan", PriorityClass: 1}})
	if err != nil {
		t.Fatal(err)
	}
}

// placeUntilKilled has four callers place orders, kills the suite after so many
// acknowledgements while the others are under way, and returns what was acknowledged.
func placeUntilKilled(t *testing.T, s *suite, client orderv1.OrderServiceClient, who identity.Identity, life, after int) []string {
	t.Helper()
	ctx, stop := context.WithTimeout(testkit.Context(t, who), time.Minute)
	defer stop()
	done := make(chan string)
	var callers sync.WaitGroup
	for caller := range 4 {
		callers.Go(func() {
			for n := 0; ; n++ {
				id := fmt.Sprintf("life-%d-caller-%d-%d", life, caller, n)
				_, err := client.PlaceOrder(ctx, &orderv1.PlaceOrderRequest{RequestId: uuid.NewString(), Order: &orderv1.Order{
					OrderId: id, CustomerId: "copper-pan", DeliveryDate: "2026-11-26", Lines: []*orderv1.OrderLine{{ProductId: "oyster-1kg", Packs: 1}},
				}})
				if err != nil {
					return
				}
				done <- id
			}
		})
	}
	go func() { callers.Wait(); close(done) }()
	var acknowledged []string
	for id := range done {
		acknowledged = append(acknowledged, id)
		if len(acknowledged) == after {
			s.kill(t)
			stop()
		}
	}
	if len(acknowledged) < after {
		t.Fatalf("only %d orders were placed before the callers gave up", len(acknowledged))
	}
	return acknowledged
}
