package main

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

// suite answers as the pages do: a choice of people, and what each page cost in its head.
func suite(t *testing.T) *httptest.Server {
	t.Helper()
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Server-Timing", "page;dur=12.500, calls;desc=7")
		switch {
		case r.URL.Path == "/start" && r.Method == http.MethodPost:
			http.SetCookie(w, &http.Cookie{Name: "who", Value: strings.ReplaceAll(r.PostFormValue("as"), ":", ".")})
			http.Redirect(w, r, "/", http.StatusSeeOther)
		case r.URL.Path == "/start":
			for _, as := range []string{"coordinator", "operator", "grower:first", "grower:second", "yard_manager:y", "buyer:k"} {
				_, _ = fmt.Fprintf(w, `<button name="as" value="%s">`, as)
			}
		case r.URL.Path == "/push":
			if c, err := r.Cookie("who"); err != nil || c.Value != "grower.first" {
				http.Error(w, "not a grower", http.StatusForbidden)
			}
		case r.URL.Path == "/lots":
			_, _ = w.Write([]byte(`<a href="/lots/one">one</a>`))
		case r.URL.Path == "/cold":
			http.NotFound(w, r)
		}
	}))
	t.Cleanup(server.Close)
	return server
}

func TestEachPageIsAskedForBySomebodyWhoGoesThere(t *testing.T) {
	t.Parallel()
	people, err := whoGoes(suite(t).URL)
	if err != nil {
		t.Fatal(err)
	}
	asked, err := people.pages("2026-11-26")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, one := range asked {
		seen[one.who+" "+one.path] = true
	}
	for want, there := range map[string]bool{"grower /push?day=2026-11-26": true, "coordinator /lots/one": true, "coordinator /trace?code=one": true, "grower /cold": false} {
		if seen[want] != there {
			t.Errorf("%s is asked for: %v", want, seen[want])
		}
	}
	f, err := measure(asked[0], 4)
	if err != nil || f.calls != 7 || f.median != 12500*time.Microsecond || f.p99 != f.median {
		t.Errorf("measured %+v, %v", f, err)
	}
}

func TestLimits(t *testing.T) {
	t.Parallel()
	well := figure{p99: 40 * time.Millisecond, calls: 12, length: 100_000}
	if err := report([]figure{well}, 50*time.Millisecond); err != nil {
		t.Error(err)
	}
	for _, beyond := range []figure{{p99: 51 * time.Millisecond}, {calls: 13}, {length: 100_001}} {
		if err := report([]figure{well, beyond}, 50*time.Millisecond); err == nil {
			t.Errorf("%+v is let through", beyond)
		}
	}
}
