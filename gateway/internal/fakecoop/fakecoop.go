// Package fakecoop is an invented co-op of two farms for the gateway's tests: hand-written
// servers that keep their state in memory, behind real gRPC with the suite's interceptors,
// tokens and deadlines. Only tests may import it.
package fakecoop

import (
	"context"
	"io"
	"log/slog"
	"net"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/rpc"
)

// The day on which the co-op stands still, and the one after it.
const (
	Today    = "2026-11-25"
	Tomorrow = "2026-11-26"
	// ID of the co-op.
	ID = "0190a1b2-0000-7000-8000-000000000001"
)

// Coop is the running co-op. Its lists may be changed before the first request.
type Coop struct {
	Tokens *identity.Tokens
	Clock  *clock.Manual

	Settings  *schedulingv1.Coop
	Farms     []*schedulingv1.Farm
	Rooms     []*schedulingv1.Room
	Crops     []*schedulingv1.Crop
	Products  []*orderv1.Product
	Customers []*orderv1.Customer
	Orders    []*orderv1.Order
	Match     *orderv1.Match
	Expected  []*harvestv1.ExpectedPick
	Weighed   []*harvestv1.Pick // before anybody visits
	Picks     []*harvestv1.Pick
	Climate   []*harvestv1.ClimateReading
	Cold      []*harvestv1.ColdStore // saved
	Discards  []*harvestv1.Discard
	// StoreReadings are those written down of cold stores.
	StoreReadings []*harvestv1.RecordStoreReadingsRequest
	Outlooks      []*harvestv1.Outlook
	Scores        *harvestv1.GetScoresResponse
	Yards         []*compostlotv1.Yard
	Slots         []*compostlotv1.Slot
	Requests      []*compostlotv1.CompostRequest
	Shares        []*compostlotv1.Share
	Reports       []*compostlotv1.LotReport
	Trace         *orderv1.TraceForwardResponse
	Received      []*orderv1.ConfirmDeliveryRequest

	Ordering
	Outlook
	Growing
	Yard
	SlotSharing

	Conflicts []*schedulingv1.CropConflict
	Overdue   []*schedulingv1.OverdueStage
	Chart     *compostlotv1.LotChart // nil for the co-op's own
	Series    []*compostlotv1.PublishSlotSeriesRequest
	Pins      []*orderv1.Pin
	Calm      bool // a rebalance changes nothing
	Incidents []*harvestv1.Incident
	Photo     []byte
	PhotoType string // what the photo is served as
	NoStock   bool   // the cold stores are empty
	// AfterCutOff has pushes marked late.
	AfterCutOff bool
	Feeds       []*schedulingv1.Feed
	FeedType    string // what ReadFeed answers as
	Accepted    []*schedulingv1.AcceptFillsRequest
	Asked       []*schedulingv1.WhatIfRequest

	// Standings and Dead are those of each service's event log; StillDead has retries fail.
	Standings map[string]*eventlogv1.GetStandingResponse
	Dead      map[string][]*eventlogv1.DeadLetter
	StillDead bool

	mu      sync.Mutex
	fails   map[string]*fault.Error
	calls   map[string]int
	answers map[string]answer
	sent    map[string]bool             // lot and order of what has left
	conns   map[string]*grpc.ClientConn // by service
	dial    func(service string) (*grpc.ClientConn, error)
}

// answer is what a request id was answered, to give it again.
type answer struct{ request, response proto.Message }

// Start brings the co-op up; it ends with the test.
func Start(t testing.TB) *Coop {
	t.Helper()
	clk := clock.NewManual(time.Date(2026, 11, 25, 14, 0, 0, 0, time.UTC))
	c := &Coop{
		Tokens: identity.NewTokens([]byte("0123456789abcdef0123456789abcdef"), clk), Clock: clk,
		fails: map[string]*fault.Error{}, calls: map[string]int{}, answers: map[string]answer{}, sent: map[string]bool{}, conns: map[string]*grpc.ClientConn{},
	}
	c.PhotoType = "image/png"
	c.FeedType = "text/calendar; charset=utf-8"
	c.fill()
	c.Weighed = weighedToday()
	c.fillEvents()
	c.serve(t)
	return c
}

func (c *Coop) serve(t testing.TB) {
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	server := rpc.NewServer(rpc.ServerOptions{Log: log, Tokens: c.Tokens, Policy: everybody()})
	schedulingv1.RegisterSchedulingServiceServer(server, &scheduling{c: c})
	orderv1.RegisterOrderServiceServer(server, &order{c: c})
	harvestv1.RegisterHarvestServiceServer(server, &harvest{c: c})
	compostlotv1.RegisterCompostLotServiceServer(server, &compostlot{c: c})
	eventlogv1.RegisterEventLogServiceServer(server, &eventLog{c: c})
	listener := bufconn.Listen(1 << 20)
	done := make(chan error, 1)
	go func() { done <- server.Serve(listener) }()
	c.dial = func(service string) (*grpc.ClientConn, error) {
		return rpc.Dial("passthrough:///"+service, rpc.DialOptions{
			Tokens: c.Tokens, Caller: "gateway",
			Dialer: func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) },
		})
	}
	t.Cleanup(func() {
		for _, conn := range c.conns {
			conn.Close()
		}
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		if err := server.Stop(ctx); err != nil {
			t.Error(err)
		}
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}

// everybody may call everything: whose things a caller may touch is each service's own test.
func everybody() rpc.Policy {
	policy := rpc.Policy{}
	for _, d := range []grpc.ServiceDesc{
		schedulingv1.SchedulingService_ServiceDesc, orderv1.OrderService_ServiceDesc,
		harvestv1.HarvestService_ServiceDesc, compostlotv1.CompostLotService_ServiceDesc, eventlogv1.EventLogService_ServiceDesc,
	} {
		for _, m := range d.Methods {
			policy["/"+d.ServiceName+"/"+m.MethodName] = identity.Roles()
		}
		for _, s := range d.Streams {
			policy["/"+d.ServiceName+"/"+s.StreamName] = identity.Roles()
		}
	}
	return policy
}

// Dial is what the gateway reaches its services by: one connection for each, as in the suite.
func (c *Coop) Dial(service string) (*grpc.ClientConn, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if conn := c.conns[service]; conn != nil {
		return conn, nil
	}
	conn, err := c.dial(service)
	if err == nil {
		c.conns[service] = conn
	}
	return conn, err
}

// Fail has the next calls of a method ("RunMatch") fail until it is told nil.
func (c *Coop) Fail(method string, f *fault.Error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if f == nil {
		delete(c.fails, method)
		return
	}
	c.fails[method] = f
}

// Calls is how often a method was called since the start.
func (c *Coop) Calls(method string) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.calls[method]
}

// AllCalls is how often any method was called since the start.
func (c *Coop) AllCalls() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	all := 0
	for _, n := range c.calls {
		all += n
	}
	return all
}

// enter counts a call and fails it where a test wants so. The caller holds no lock.
func (c *Coop) enter(method string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.calls[method]++
	if f := c.fails[method]; f != nil {
		return f
	}
	return nil
}

// request is any request that carries an id.
type request interface {
	proto.Message
	GetRequestId() string
}

// once runs fn for the first request of an id, under the lock, and answers the same to the
// next ones, as the services do.
func once[R proto.Message](c *Coop, method string, req request, fn func() (R, error)) (R, error) {
	var nothing R
	if err := c.enter(method); err != nil {
		return nothing, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if a, ok := c.answers[req.GetRequestId()]; ok {
		if !proto.Equal(a.request, req) {
			return nothing, fault.New(fault.Exists, "REQUEST_ID_REUSED", "The request id was used for another request.")
		}
		return a.response.(R), nil
	}
	res, err := fn()
	if err == nil {
		c.answers[req.GetRequestId()] = answer{proto.Clone(req), res}
	}
	return res, err
}

// read runs fn under the lock.
func read[R any](c *Coop, method string, fn func() (R, error)) (R, error) {
	if err := c.enter(method); err != nil {
		var nothing R
		return nothing, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	return fn()
}

// notFound is what the services say of a thing that is not there.
func notFound(what, id string) *fault.Error {
	return fault.New(fault.NotFound, "NOT_FOUND", "There is no %s %q in this co-op.", what, id)
}

// Who is a person of the co-op.
func Who(role identity.Role, id string) identity.Identity {
	who := identity.Identity{CoopID: ID, Role: role, Name: "Una"}
	switch role {
	case identity.Grower:
		who.FarmID = id
	case identity.YardManager:
		who.YardID = id
	case identity.Buyer:
		who.CustomerID = id
	}
	return who
}
