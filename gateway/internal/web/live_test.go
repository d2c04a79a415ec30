package web_test

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/gateway/internal/signin"
	"breakshare.example/gateway/internal/web"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// heard is one update of a stream.
type heard struct {
	At    string
	Parts map[string]struct{ HTML, Version string }
}

// stream is what a browser's EventSource does with an address, as somebody.
type stream struct {
	t       *testing.T
	status  int
	updates chan heard
	ended   chan struct{}
}

// server is the pages read anew at once, and what ends their streams.
type server struct {
	coop    *fakecoop.Coop
	url     string
	token   string
	closing chan struct{}
}

func live(t *testing.T, who identity.Identity) *server {
	t.Helper()
	coop := fakecoop.Start(t)
	s := &server{coop: coop, closing: make(chan struct{})}
	door := signin.New(coop.Tokens, nil)
	pages, err := web.New(web.Options{Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Clock: coop.Clock, Dial: coop.Dial, Door: door, LiveEvery: time.Millisecond, Closing: s.closing})
	if err != nil {
		t.Fatal(err)
	}
	if s.token, err = coop.Tokens.Mint(who, time.Hour); err != nil {
		t.Fatal(err)
	}
	listening := httptest.NewServer(door.Page(pages))
	t.Cleanup(listening.Close)
	s.url = listening.URL
	return s
}

func (s *server) open(t *testing.T, ctx context.Context, path string) *stream {
	t.Helper()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, s.url+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+s.token)
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	out := &stream{t: t, status: res.StatusCode, updates: make(chan heard, 100), ended: make(chan struct{})}
	go func() {
		defer close(out.ended)
		defer res.Body.Close()
		lines := bufio.NewScanner(res.Body)
		lines.Buffer(nil, 1<<20)
		for lines.Scan() {
			if data, ok := strings.CutPrefix(lines.Text(), "data: "); ok {
				var u heard
				if json.Unmarshal([]byte(data), &u) == nil {
					out.updates <- u
				}
			}
		}
	}()
	return out
}

// next is the next update.
func (s *stream) next() heard {
	s.t.Helper()
	select {
	case u := <-s.updates:
		return u
	case <-s.ended:
		s.t.Fatal("the stream ended")
	case <-time.After(20 * time.Second):
		s.t.Fatal("no update came")
	}
	return heard{}
}

func TestHealthIsKeptUpToDate(t *testing.T) {
	t.Parallel()
	s := live(t, fakecoop.Who(identity.Operator, ""))
	ctx, leave := context.WithCancel(t.Context())
	first, second := s.open(t, ctx, "/live/health"), s.open(t, t.Context(), "/live/health")
	for _, one := range []*stream{first, second} {
		if u := one.next(); !strings.Contains(u.Parts["letters"].HTML, "no such product") || u.At != "14:00 UTC" {
			t.Errorf("at first: %+v", u)
		}
	}
	s.coop.Change(func() { s.coop.Dead["order"] = nil })
	for _, one := range []*stream{first, second} {
		if u := one.next(); !strings.Contains(u.Parts["letters"].HTML, "There are none") {
			t.Errorf("then: %+v", u)
		}
	}
	// Request ids are minted anew each time; that alone is no change.
	select {
	case u := <-first.updates:
		t.Errorf("told again: %+v", u)
	default:
	}
	leave()
	<-first.ended
	close(s.closing)
	<-second.ended
}

func TestTomorrowTellsWhatChanged(t *testing.T) {
	t.Parallel()
	s := live(t, coordinator)
	address := attr(find(visit(t, coordinator).get("/tomorrow").ok().root, "p.fresh"), "data-live")
	if !strings.HasPrefix(address, "/live/tomorrow?") {
		t.Fatalf("the page is kept up to date by %q", address)
	}
	told := s.open(t, t.Context(), address)
	before := told.next().Parts["news"]
	if strings.Contains(before.HTML, "expect to pick") {
		t.Errorf("nothing changed in supply, and the page says %q", before.HTML)
	}
	s.coop.Change(func() { s.coop.Orders[0].Lines[0].Packs += 7 })
	if after := told.next().Parts["news"]; after.Version == before.Version || !strings.Contains(after.HTML, "changed since the match was run") {
		t.Errorf("an order changed, and the page says %q", after.HTML)
	}
}

func TestLotsChartIsKeptUpToDate(t *testing.T) {
	t.Parallel()
	s := live(t, fakecoop.Who(identity.YardManager, "quarry-end"))
	told := s.open(t, t.Context(), "/live/lots/quarry-end-26-41")
	before := told.next()
	if !strings.Contains(before.Parts["charts"].HTML, "<svg") {
		t.Fatalf("no chart: %+v", before)
	}
	s.coop.Fail("GetLotReport", fault.New(fault.Unavailable, "DOWN", "down")) // told when it is back
	s.coop.Change(func() { s.coop.Reports[0].Criteria[0].Explanation = "58.0 °C for 5 h" })
	s.coop.Fail("GetLotReport", nil)
	after := told.next()
	if !strings.Contains(after.Parts["evidence"].HTML, "58.0 °C for 5 h") || after.Parts["charts"].Version != before.Parts["charts"].Version {
		t.Errorf("then: %+v", after.Parts["evidence"])
	}
}

func TestStreamsAreRefused(t *testing.T) {
	t.Parallel()
	s := live(t, fakecoop.Who(identity.YardManager, "quarry-end"))
	if got := s.open(t, t.Context(), "/live/lots/no-such-lot"); got.status != http.StatusNotFound {
		t.Errorf("an unknown lot: answered %d", got.status)
	}
	s.coop.Fail("GetCoop", fault.New(fault.Forbidden, "ROLE_MAY_NOT", "no"))
	if got := s.open(t, t.Context(), "/live/tomorrow"); got.status != http.StatusForbidden {
		t.Errorf("forbidden: answered %d", got.status)
	}
	s.token = "nobody's"
	if got := s.open(t, t.Context(), "/live/health"); got.status != http.StatusUnauthorized {
		t.Errorf("nobody: answered %d", got.status)
	}
}

func TestRetryOfADeadLetter(t *testing.T) {
	t.Parallel()
	r := visit(t, fakecoop.Who(identity.Operator, ""))
	p := r.get("/health").ok()
	p.says("#queues", "Events between services").says(".rows li", "Orders and match reads Picks ⚠ 3 events behind · ⚠ 1 dead letter")
	r.coop.StillDead = true
	refused := r.submit(p, "/health/retry", nil)
	if refused.status/100 != 4 {
		t.Errorf("answered %d", refused.status)
	}
	refused.says(".alert", "no such product")
	r.coop.StillDead = false
	r.submit(p, "/health/retry", nil).ok().says(".done", "The event was taken in.").says("main", "There are none.")
	r.be(coordinator)
	if p := r.get("/health").ok(); strings.Contains(p.text, "events behind") {
		t.Error("the office sees the operator's part")
	}
}
