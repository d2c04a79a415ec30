package web_test

import (
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/services/platform/fault"
)

// told is what the service worker is answered.
type told struct {
	State    string            `json:"state"`
	Lines    []string          `json:"lines"`
	Versions map[string]string `json:"versions"`
}

// send sends a form that waited, in somebody's name.
func (r *rig) send(path, person string, form url.Values) (int, told) {
	r.t.Helper()
	req, err := http.NewRequest(http.MethodPost, r.url+"/waited"+path, strings.NewReader(form.Encode()))
	if err != nil {
		r.t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Breakshare-Person", person)
	res, err := r.client.Do(req)
	if err != nil {
		r.t.Fatal(err)
	}
	defer res.Body.Close()
	var answer told
	if res.StatusCode == http.StatusOK {
		if err := json.NewDecoder(res.Body).Decode(&answer); err != nil {
			r.t.Fatal(err)
		}
	}
	return res.StatusCode, answer
}

func TestWaitedPush(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	page := r.get("/push").ok()
	me := page.header.Get("Breakshare-Person")
	form := page.form("/push")
	form.Set(likely, "80")
	old := url.Values{}
	for k, v := range form {
		old[k] = v
	}
	for range 2 { // the first answer may be lost
		if _, got := r.send("/push", me, form); got.State != "sent" || got.Versions["version.alder-brook-1.white-closed-2kg"] != "1" {
			t.Errorf("told %+v", got)
		}
	}
	if e := pushed(r.coop); e.GetLikelyGrams() != 80_000 || e.GetVersion() != 1 {
		t.Errorf("pushed %v", e)
	}

	old.Set("request_id", r.get("/push").form("/push").Get("request_id"))
	old.Set(likely, "75")
	want := told{State: "conflict", Lines: []string{"House 1, White closed cups, 2 kg: now 60.0 – 80.0 – 85.0 kg by Una Wed 25 Nov 13:00"}}
	if _, got := r.send("/push", me, old); !cmp.Equal(got, want) {
		t.Errorf("made from none: %s", cmp.Diff(want, got))
	}
	if e := pushed(r.coop); e.GetVersion() != 1 {
		t.Errorf("written over: %v", e)
	}

	bad := r.get("/push").form("/push")
	bad.Set(low, "99")
	if _, got := r.send("/push", me, bad); got.State != "refused" || len(got.Lines) != 1 || !strings.Contains(got.Lines[0], "must rise") {
		t.Errorf("told %+v", got)
	}
	r.coop.AfterCutOff = true
	late := r.get("/push").form("/push")
	late.Set(likely, "81")
	if _, got := r.send("/push", me, late); got.State != "late" {
		t.Errorf("told %+v", got)
	}
}

func TestWaitedWeighing(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	page := r.get("/pick").ok()
	me, form := page.header.Get("Breakshare-Person"), page.form("/pick/weigh")
	form.Set("gross_grams", "78")
	form.Set("tare_grams", "6")
	for range 2 {
		if _, got := r.send("/pick/weigh", me, form); got.State != "sent" {
			t.Errorf("told %+v", got)
		}
	}
	if len(r.coop.Picks) != 1 {
		t.Errorf("%d picks", len(r.coop.Picks))
	}
	form.Set("request_id", r.get("/pick").form("/pick/weigh").Get("request_id"))
	form.Set("tare_grams", "99")
	if _, got := r.send("/pick/weigh", me, form); got.State != "refused" || !strings.Contains(got.Lines[0], "less than the gross weight") {
		t.Errorf("told %+v", got)
	}
}

// What is not decided waits on, and nothing goes in another's name.
func TestWaitedIsNotDecided(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	page := r.get("/push")
	me, form := page.header.Get("Breakshare-Person"), page.form("/push")
	r.coop.Fail("PushExpectedPicks", fault.New(fault.Unavailable, "DOWN", "down"))
	if status, _ := r.send("/push", me, form); status != http.StatusServiceUnavailable {
		t.Errorf("harvest down: answered %d", status)
	}
	r.coop.Fail("PushExpectedPicks", nil)
	other := grower
	other.Name = "Ida"
	r.be(other)
	if status, _ := r.send("/push", me, form); status != http.StatusForbidden {
		t.Errorf("sent as another grower: answered %d", status)
	}
	r.be(coordinator)
	if status, _ := r.send("/push", r.get("/tomorrow").header.Get("Breakshare-Person"), form); status != http.StatusForbidden {
		t.Errorf("sent as the office: answered %d", status)
	}
	if pushed(r.coop) != nil {
		t.Error("it was pushed")
	}
}

func TestOnlyGrowersPagesAreKept(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	for path, want := range map[string]string{
		"/push": "/push?day=" + fakecoop.Tomorrow, "/push?day=2026-11-27": "/push?day=2026-11-27", "/pick": "/pick?day=" + fakecoop.Tomorrow, "/rooms": "/rooms", "/round": "/round", "/cold": "/cold", "/waiting": "/waiting", "/feeds": "", "/start": "",
	} {
		if got := r.get(path).header.Get("Breakshare-Keep"); got != want {
			t.Errorf("%s is kept as %q, want %q", path, got, want)
		}
	}
	r.be(coordinator)
	for _, path := range []string{"/push?farm=alder-brook", "/rooms?farm=alder-brook", "/tomorrow"} {
		if got := r.get(path).header.Get("Breakshare-Keep"); got != "" {
			t.Errorf("the office's %s is kept as %q", path, got)
		}
	}
}

func TestInstallable(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	manifest := r.get("/app.webmanifest").ok()
	var app struct {
		Start string `json:"start_url"`
		Icons []struct{ Src string }
	}
	if err := json.Unmarshal([]byte(manifest.text), &app); err != nil || app.Start != "/" || len(app.Icons) < 2 {
		t.Fatalf("%v: %s", err, manifest.text)
	}
	worker := r.get("/worker.js").ok()
	if got := worker.header.Get("Content-Type"); !strings.HasPrefix(got, "text/javascript") {
		t.Errorf("the worker is %q", got)
	}
	line, _, _ := strings.Cut(worker.text, "\n")
	_, list, _ := strings.Cut(strings.TrimSuffix(line, ";"), "SHELL = ")
	var shell []string
	if err := json.Unmarshal([]byte(list), &shell); err != nil {
		t.Fatalf("%v: %s", err, line)
	}
	for _, icon := range app.Icons {
		shell = append(shell, icon.Src)
	}
	for _, path := range shell {
		res, err := r.client.Get(r.url + path)
		if err != nil {
			t.Fatal(err)
		}
		n, _ := io.Copy(io.Discard, res.Body)
		res.Body.Close()
		if res.StatusCode != http.StatusOK || n == 0 {
			t.Errorf("%s: answered %d with %d bytes", path, res.StatusCode, n)
		}
	}
}
