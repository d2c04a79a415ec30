package gateway_test

import (
	"bytes"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"

	"breakshare.example/gateway"
	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// served is the whole gateway over the co-op, and what it logged.
type served struct {
	coop *fakecoop.Coop
	http.Handler
	log bytes.Buffer
}

func serve(t *testing.T, cfg gateway.Config, change ...func(*gateway.Host)) *served {
	t.Helper()
	s := &served{coop: fakecoop.Start(t)}
	office := fakecoop.Who(identity.Coordinator, "")
	h := gateway.Host{
		Log: slog.New(slog.NewTextHandler(&s.log, nil)), Clock: s.coop.Clock, Tokens: s.coop.Tokens, Dial: s.coop.Dial,
		Local: func() (identity.Identity, bool) { return office, true },
	}
	for _, c := range change {
		c(&h)
	}
	handler, err := gateway.Bind(t.Context(), h, cfg)
	if err != nil {
		t.Fatal(err)
	}
	s.Handler = handler
	return s
}

func (s *served) ask(req *http.Request) *httptest.ResponseRecorder {
	if req.Host == "example.com" {
		req.Host = "127.0.0.1:8080"
	}
	res := httptest.NewRecorder()
	s.ServeHTTP(res, req)
	return res
}

func TestEveryAnswerIsSecured(t *testing.T) {
	t.Parallel()
	s := serve(t, gateway.Config{})
	for _, path := range []string{"/tomorrow", "/static/breakshare.js", "/v1/farms", "/openapi.json", "/healthz", "/nowhere", "/v1/nowhere"} {
		h := s.ask(httptest.NewRequest(http.MethodGet, path, nil)).Header()
		policy := h.Get("Content-Security-Policy")
		for _, part := range []string{"default-src 'none'", "script-src 'self'", "style-src 'self'", "form-action 'self'", "frame-ancestors 'none'", "base-uri 'none'"} {
			if !strings.Contains(policy, part) {
				t.Errorf("%s: the content security policy lacks %q: %s", path, part, policy)
			}
		}
		if strings.Contains(policy, "unsafe") {
			t.Errorf("%s: %s", path, policy)
		}
		if h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Referrer-Policy") != "same-origin" {
			t.Errorf("%s: headers %v", path, h)
		}
	}
}

func TestOtherSitesAreRefused(t *testing.T) {
	t.Parallel()
	s := serve(t, gateway.Config{})
	for name, headers := range map[string]map[string]string{
		"by the browser's word": {"Sec-Fetch-Site": "cross-site"},
		"by a sibling":          {"Sec-Fetch-Site": "same-site"},
		"by origin":             {"Origin": "https://evil.example"},
	} {
		for _, path := range []string{"/tomorrow/run", "/v1/matches", "/start", "/push"} {
			req := httptest.NewRequest(http.MethodPost, path, strings.NewReader("day=2026-11-26"))
			for k, v := range headers {
				req.Header.Set(k, v)
			}
			if res := s.ask(req); res.Code != http.StatusForbidden {
				t.Errorf("%s to %s: answered %d", name, path, res.Code)
			}
		}
	}
	if n := s.coop.AllCalls(); n > 0 {
		t.Errorf("%d calls were made for other sites", n)
	}
}

func TestRebindingIsRefused(t *testing.T) {
	t.Parallel()
	s := serve(t, gateway.Config{})
	req := httptest.NewRequest(http.MethodGet, "/v1/farms", nil)
	req.Host = "evil.example"
	if res := s.ask(req); res.Code != http.StatusUnauthorized {
		t.Errorf("a name pointed at this machine got %d: %s", res.Code, res.Body)
	}
}

func TestPanicIsAnsweredAndLogged(t *testing.T) {
	t.Parallel()
	s := serve(t, gateway.Config{}, func(h *gateway.Host) {
		h.Metrics = http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("broken part") })
	})
	res := s.ask(httptest.NewRequest(http.MethodGet, "/metrics", nil))
	if res.Code != http.StatusInternalServerError || strings.Contains(res.Body.String(), "broken part") {
		t.Errorf("answered %d %s", res.Code, res.Body)
	}
	if log := s.log.String(); !strings.Contains(log, "broken part") || !strings.Contains(log, "status=500") {
		t.Errorf("the log says %s", log)
	}
	if res := s.ask(httptest.NewRequest(http.MethodGet, "/healthz", nil)); res.Code != http.StatusNoContent {
		t.Errorf("after a panic the gateway answers %d", res.Code)
	}
}

func TestAbortIsLeftToTheServer(t *testing.T) {
	t.Parallel()
	s := serve(t, gateway.Config{}, func(h *gateway.Host) {
		h.Metrics = http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) })
	})
	defer func() {
		if recover() != http.ErrAbortHandler {
			t.Error("an aborted answer was made to look whole")
		}
	}()
	s.ask(httptest.NewRequest(http.MethodGet, "/metrics", nil))
}

func TestLargeBodiesAreRefused(t *testing.T) {
	t.Parallel()
	s := serve(t, gateway.Config{MaxBodyBytes: 1000})
	res := s.ask(httptest.NewRequest(http.MethodPut, "/v1/coop", strings.NewReader(`{"coop": {"name": "`+strings.Repeat("x", 2000)+`"}}`)))
	if res.Code < 400 || res.Code > 499 || res.Header().Get("Content-Type") != "application/problem+json" {
		t.Errorf("the API answered %d %s", res.Code, res.Body)
	}
	req := httptest.NewRequest(http.MethodPost, "/push", strings.NewReader("day="+strings.Repeat("x", 2000)))
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	if res := s.ask(req); res.Code != http.StatusBadRequest {
		t.Errorf("a page answered %d %s", res.Code, res.Body)
	}
}

// TestHugeUploadsAreRefused: every form that takes a file says how large one may be, and reads no
// more of it.
func TestHugeUploadsAreRefused(t *testing.T) {
	t.Parallel()
	s := serve(t, gateway.Config{MaxBodyBytes: 1 << 20})
	for _, path := range []string{"/round/report", "/push/file", "/slots/upload", "/climate", "/lots/quarry-end-26-41/readings"} {
		var body bytes.Buffer
		form := multipart.NewWriter(&body)
		file, err := form.CreateFormFile("photo", "a.png")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := file.Write(bytes.Repeat([]byte{0x89}, 2<<20)); err != nil {
			t.Fatal(err)
		}
		if err := form.Close(); err != nil {
			t.Fatal(err)
		}
		req := httptest.NewRequest(http.MethodPost, path, &body)
		req.Header.Set("Content-Type", form.FormDataContentType())
		if res := s.ask(req); res.Code != http.StatusBadRequest || !strings.Contains(res.Body.String(), "too large: 1 MB at most") {
			t.Errorf("%s answered %d", path, res.Code)
		}
	}
}

func TestTokenDecidesWhoOverTheAPI(t *testing.T) {
	t.Parallel()
	s := serve(t, gateway.Config{}, func(h *gateway.Host) { h.Local = nil })
	if res := s.ask(httptest.NewRequest(http.MethodGet, "/v1/farms", nil)); res.Code != http.StatusUnauthorized {
		t.Errorf("without a token: %d", res.Code)
	}
	token, err := s.coop.Tokens.Mint(fakecoop.Who(identity.Grower, "alder-brook"), time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	req := httptest.NewRequest(http.MethodPost, "/v1/expectedPicks", strings.NewReader(`{"request_id": "0190a1b2-0000-7000-8000-00000000000c",
		"expected_picks": [{"room_id": "alder-brook-1", "product_id": "white-closed-2kg", "date": "2026-11-26", "low_grams": "1", "likely_grams": "2", "high_grams": "3"}]}`))
	req.Host = "suite.example"
	req.Header.Set("Authorization", "Bearer "+token)
	if res := s.ask(req); res.Code != http.StatusOK || !strings.Contains(res.Body.String(), `"pushedBy":"Una"`) {
		t.Errorf("with a token: %d %s", res.Code, res.Body)
	}
}

func TestStreamsAreFlushed(t *testing.T) {
	t.Parallel()
	s := serve(t, gateway.Config{})
	server := httptest.NewServer(s)
	defer server.Close()
	res, err := http.Post(server.URL+"/v1/matches", "application/json", strings.NewReader(`{"request_id": "0190a1b2-0000-7000-8000-00000000000d", "delivery_date": "2026-11-26"}`))
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil || strings.Count(string(body), "\n") != 3 {
		t.Errorf("%v, %q", err, body)
	}
}

func TestBindFailsWithoutAService(t *testing.T) {
	t.Parallel()
	coop := fakecoop.Start(t)
	for _, missing := range []string{"scheduling", "order"} {
		_, err := gateway.Bind(t.Context(), gateway.Host{
			Log: slog.Default(), Clock: coop.Clock, Tokens: coop.Tokens,
			Dial: func(name string) (*grpc.ClientConn, error) {
				if name == missing {
					return nil, fault.New(fault.Unavailable, "", "no target for %s", name)
				}
				return coop.Dial(name)
			},
		}, gateway.Config{})
		if err == nil {
			t.Errorf("a gateway without %s came up", missing)
		}
	}
}

// TestSecretsOfCalendarsAreNotLogged: the address of a calendar alone lets whoever has it read
// the calendar, so it must not stand in a log.
func TestSecretsOfCalendarsAreNotLogged(t *testing.T) {
	t.Parallel()
	s := serve(t, gateway.Config{})
	address := "/feeds/" + fakecoop.ID + "/" + fakecoop.FeedSecret + ".ics"
	s.ask(httptest.NewRequest(http.MethodGet, address, nil))
	s.coop.Fail("ReadFeed", fault.New(fault.Internal, "BROKEN", "broken"))
	s.ask(httptest.NewRequest(http.MethodGet, address, nil))
	if log := s.log.String(); strings.Contains(log, fakecoop.FeedSecret) || !strings.Contains(log, "/feeds/") {
		t.Errorf("logged %s", log)
	}
}
