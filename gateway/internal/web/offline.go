package web

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"net/http"
	"slices"
	"strings"

	"breakshare.example/services/platform/identity"
)

// workerSource is the service worker without the lines that the gateway writes above it.
const workerSource = "worker.js"

// What the service worker reads of a page.
const (
	// keepHeader names a page that may be kept for when there is no signal; the name holds
	// its day.
	keepHeader = "Breakshare-Keep"
	// personHeader tells one person's pages from another's. Sent with what waited, it keeps it
	// from going in somebody else's name.
	personHeader = "Breakshare-Person"
)

// worker is the service worker, with the assets that it keeps and a version that changes with
// any of them. Browsers look for a new one at each visit.
func worker(assets fs.FS) (http.HandlerFunc, error) {
	names, err := fs.Glob(assets, "*")
	if err != nil {
		return nil, err
	}
	sum := sha256.New()
	shell := []string{}
	for _, name := range names {
		content, err := fs.ReadFile(assets, name)
		if err != nil {
			return nil, err
		}
		sum.Write(content)
		if name != workerSource {
			shell = append(shell, "/static/"+name)
		}
	}
	source, err := fs.ReadFile(assets, workerSource)
	if err != nil {
		return nil, err
	}
	list, err := json.Marshal(shell)
	if err != nil {
		return nil, err
	}
	version := hex.EncodeToString(sum.Sum(nil))[:16]
	script := slices.Concat([]byte(`const VERSION = "`+version+`", SHELL = `), list, []byte(";\n"), source)
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
		w.Header().Set("Cache-Control", "no-cache")
		// The visitor may be gone; there is nobody left to tell.
		_, _ = w.Write(script)
	}, nil
}

// showManifest lets a phone put the suite among its own programs.
func (p *Pages) showManifest(w http.ResponseWriter, r *http.Request) {
	type icon struct {
		Src     string `json:"src"`
		Sizes   string `json:"sizes"`
		Type    string `json:"type"`
		Purpose string `json:"purpose"`
	}
	w.Header().Set("Content-Type", "application/manifest+json")
	w.Header().Set("Cache-Control", "max-age=3600")
	// The visitor may be gone; there is nobody left to tell.
	_ = json.NewEncoder(w).Encode(struct {
		Name       string `json:"name"`
		ShortName  string `json:"short_name"`
		Lang       string `json:"lang"`
		Start      string `json:"start_url"`
		Scope      string `json:"scope"`
		Display    string `json:"display"`
		Background string `json:"background_color"`
		Theme      string `json:"theme_color"`
		Icons      []icon `json:"icons"`
	}{
		Name: "Breakshare", ShortName: "Breakshare", Lang: p.visitOf(w, r).words.Tag(), Start: "/", Scope: "/", Display: "standalone", Background: "#f7f3ea", Theme: "#fffdf8",
		Icons: []icon{
			{"/static/icon-192.png", "192x192", "image/png", "any maskable"},
			{"/static/icon-512.png", "512x512", "image/png", "any maskable"},
			{"/static/mark.svg", "any", "image/svg+xml", "any"},
		},
	})
}

// personKey tells people apart without saying who they are.
func personKey(who identity.Identity) string {
	sum := sha256.Sum256([]byte(strings.Join([]string{who.CoopID, string(who.Role), who.FarmID, who.YardID, who.CustomerID, who.Name}, "\x00")))
	return hex.EncodeToString(sum[:8])
}

// worksOffline reports whether the visitor's pages are kept on their phone.
func worksOffline(v *visit) bool { return v.known && v.who.Role == identity.Grower }

// kept lets a grower's phone keep a page as it is shown by GET.
func kept(show func(*visit, *form) (view, error)) func(*visit, *form) (view, error) {
	return func(v *visit, f *form) (view, error) {
		shown, err := show(v, f)
		if err == nil && shown.keep == "" {
			shown.keep = v.r.URL.Path
		}
		return shown, err
	}
}

// showWaiting shows what waits on this phone for a signal. Its text comes from here, what
// waits from the phone.
func (p *Pages) showWaiting(v *visit) (view, error) {
	return view{template: "waiting", title: "waiting.title", keep: "/waiting"}, nil
}
