package rest_test

import (
	"bufio"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/gateway/internal/rest"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// api is the routes over the co-op, called by a coordinator.
func api(t *testing.T) (*fakecoop.Coop, http.Handler) {
	t.Helper()
	coop := fakecoop.Start(t)
	handler, err := rest.New(t.Context(), coop.Dial)
	if err != nil {
		t.Fatal(err)
	}
	return coop, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		handler.ServeHTTP(w, r.WithContext(identity.With(r.Context(), fakecoop.Who(identity.Coordinator, ""))))
	})
}

func ask(handler http.Handler, method, path, body string) *httptest.ResponseRecorder {
	res := httptest.NewRecorder()
	var reader io.Reader
	if body != "" {
		reader = strings.NewReader(body)
	}
	handler.ServeHTTP(res, httptest.NewRequest(method, path, reader))
	return res
}

func problemOf(t *testing.T, res *httptest.ResponseRecorder) rest.Problem {
	t.Helper()
	if got := res.Header().Get("Content-Type"); got != "application/problem+json" {
		t.Errorf("content type %q, want application/problem+json (RFC 9457, section 3)", got)
	}
	decoder := json.NewDecoder(res.Body)
	decoder.DisallowUnknownFields()
	var p rest.Problem
	if err := decoder.Decode(&p); err != nil {
		t.Fatal(err)
	}
	if p.Status != res.Code {
		t.Errorf("status member %d, want that of the answer, %d (RFC 9457, section 3.1.2)", p.Status, res.Code)
	}
	return p
}

// TestMembersAreThoseOfTheStandard: the example of RFC 9457, section 3, has the members type,
// title, detail and instance beside extensions of its own; one of several errors has a detail
// for each. Ours must read as one of them.
func TestMembersAreThoseOfTheStandard(t *testing.T) {
	t.Parallel()
	res := httptest.NewRecorder()
	rest.WriteProblem(res, httptest.NewRequest(http.MethodGet, "/account/12345/msgs/abc", nil),
		fault.New(fault.Forbidden, "OUT_OF_CREDIT", "Your current balance is 30, but that costs 50.").WithMeta("balance", "30"))
	var members map[string]any
	if err := json.Unmarshal(res.Body.Bytes(), &members); err != nil {
		t.Fatal(err)
	}
	want := map[string]any{
		"type": "about:blank", "title": "Forbidden", "status": 403.0, "detail": "Your current balance is 30, but that costs 50.",
		"instance": "/account/12345/msgs/abc", "reason": "OUT_OF_CREDIT", "meta": map[string]any{"balance": "30"},
	}
	if diff := cmp.Diff(want, members); diff != "" {
		t.Error(diff)
	}
	if got := res.Header().Get("Cache-Control"); got != "no-store" {
		t.Errorf("a problem may be cached: %q", got)
	}
}

func TestEveryKindIsAProblem(t *testing.T) {
	t.Parallel()
	for _, kind := range fault.Kinds() {
		res := httptest.NewRecorder()
		rest.WriteProblem(res, httptest.NewRequest(http.MethodGet, "/v1/farms", nil), fault.New(kind, "REASON", "text"))
		if p := problemOf(t, res); p.Status != kind.HTTP() || p.Type != "about:blank" {
			t.Errorf("%s: %+v", kind, p)
		}
	}
}

func TestFieldsAreNamed(t *testing.T) {
	t.Parallel()
	_, handler := api(t)
	res := ask(handler, http.MethodPut, "/v1/farms/Alder%20Brook", `{"request_id": "no uuid", "farm": {"name": ""}}`)
	p := problemOf(t, res)
	if p.Status != http.StatusBadRequest {
		t.Fatalf("answered %+v", p)
	}
	var fields []string
	for _, e := range p.Errors {
		fields = append(fields, e.Field)
		if e.Detail == "" {
			t.Errorf("%s: nothing said", e.Field)
		}
	}
	for _, want := range []string{"request_id", "farm.farm_id", "farm.name", "farm.member_shares"} {
		if !strings.Contains(strings.Join(fields, " ")+" ", want+" ") {
			t.Errorf("no violation names %s, only %v", want, fields)
		}
	}
}

func TestProblems(t *testing.T) {
	t.Parallel()
	coop, handler := api(t)
	coop.Fail("ListFarms", fault.New(fault.Internal, "", "secret of the database"))
	coop.Fail("ListRooms", fault.New(fault.Stale, "ROOM_CHANGED", "Room changed by Una.").WithMeta("by", "Una"))
	for name, c := range map[string]struct {
		method, path, body string
		status             int
		reason, detail     string
	}{
		"no such address":      {"GET", "/v1/mushrooms", "", 404, "", "/openapi.json"},
		"method not taken":     {"DELETE", "/v1/coop", "", 405, "", "does not take DELETE"},
		"malformed body":       {"PUT", "/v1/coop", "{", 400, "", ""},
		"unknown field":        {"PUT", "/v1/coop", `{"colour": 1}`, 400, "", "colour"},
		"text for a number":    {"PUT", "/v1/farms/a", `{"farm": {"member_shares": "many"}}`, 400, "", ""},
		"not found":            {"GET", "/v1/days/2026-01-01/match", "", 404, "NOT_FOUND", "match"},
		"changed meanwhile":    {"GET", "/v1/rooms", "", 409, "ROOM_CHANGED", "Una"},
		"ours, hidden":         {"GET", "/v1/farms", "", 500, "", ""},
		"deadline of a caller": {"GET", "/v1/calendar?from_date=x", "", 400, "", ""},
	} {
		p := problemOf(t, ask(handler, c.method, c.path, c.body))
		if p.Status != c.status || c.reason != "" && p.Reason != c.reason || !strings.Contains(p.Detail, c.detail) {
			t.Errorf("%s: %+v, want %d %s %q", name, p, c.status, c.reason, c.detail)
		}
		if strings.Contains(p.Detail, "secret") {
			t.Errorf("%s tells a secret: %s", name, p.Detail)
		}
	}
}

// TestStreamsAreLines: a server's stream is one JSON object a line, the last one telling the
// end.
func TestStreamsAreLines(t *testing.T) {
	t.Parallel()
	coop, handler := api(t)
	const body = `{"request_id": "0190a1b2-0000-7000-8000-00000000000a", "delivery_date": "2026-11-26"}`
	var steps []string
	for lines := bufio.NewScanner(ask(handler, http.MethodPost, "/v1/matches", body).Body); lines.Scan(); {
		var line struct {
			Result struct {
				Step  string
				Match *struct{ MatchID string }
			}
		}
		if err := json.Unmarshal(lines.Bytes(), &line); err != nil {
			t.Fatalf("%v: %s", err, lines.Text())
		}
		steps = append(steps, line.Result.Step)
		if (line.Result.Match != nil) != (line.Result.Step == "MATCH_STEP_DONE") {
			t.Errorf("the match comes with step %s", line.Result.Step)
		}
	}
	if diff := cmp.Diff([]string{"MATCH_STEP_LOADING", "MATCH_STEP_SOLVING", "MATCH_STEP_DONE"}, steps); diff != "" {
		t.Error(diff)
	}
	coop.Fail("RunMatch", fault.New(fault.Precondition, "NO_SUPPLY", "Nobody offers anything."))
	res := ask(handler, http.MethodPost, "/v1/matches", body)
	var last struct {
		Error struct {
			Message string
			Details []map[string]any
		}
	}
	if err := json.Unmarshal(res.Body.Bytes(), &last); err != nil {
		t.Fatal(err)
	}
	if res.Code != http.StatusBadRequest || last.Error.Message != "Nobody offers anything." || len(last.Error.Details) == 0 || last.Error.Details[0]["reason"] != "NO_SUPPLY" {
		t.Errorf("a stream that fails ends with %d %+v", res.Code, last)
	}
}

func TestUploadsAreStreams(t *testing.T) {
	t.Parallel()
	_, handler := api(t)
	const line = `{"request_id": "0190a1b2-0000-7000-8000-00000000000b", "readings": [{"lot_id": "a", "probe_id": "p1", "kind": "READING_KIND_AMMONIA", "time": "2026-11-25T10:00:00Z", "value_thousandths": "4000"}]}` + "\n"
	res := ask(handler, http.MethodPost, "/v1/readings", line+line+line)
	if res.Code != http.StatusOK || !strings.Contains(res.Body.String(), `"stored":"3"`) {
		t.Errorf("answered %d: %s", res.Code, res.Body)
	}
}

// TestAbsentIsAbsent: zeroes are written, fields that are not there are not.
func TestAbsentIsAbsent(t *testing.T) {
	t.Parallel()
	_, handler := api(t)
	body := ask(handler, http.MethodGet, "/v1/supply?from_date=2026-11-26&to_date=2026-11-26", "").Body.String()
	if strings.Contains(body, "pickedGrams") || !strings.Contains(body, `"rooms":[]`) {
		t.Errorf("absent or empty wrongly written: %s", body)
	}
}
