package web_test

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/services/platform/identity"
)

// typedIn are what somebody could put into any field.
var typedIn = map[string]string{
	"markup":           hostile, // right to left and invisible, too
	"ten thousand":     strings.Repeat("Ω", 10_000),
	"broken bytes":     "\xff\xfe\x00'; DROP TABLE room; --",
	"a very large one": "99999999999999999999999999",
}

// TestFormsTakeHostileInput sends every form of every page with each of these in all fields that
// can be typed into, and once in those that cannot: it is refused clearly or taken, never an
// error of ours, and what comes back holds nothing that a browser would run.
func TestFormsTakeHostileInput(t *testing.T) {
	t.Parallel()
	for role, pages := range pagesByRole() {
		t.Run(role, func(t *testing.T) {
			t.Parallel()
			r := visit(t, identity.Identity{})
			sent := map[string]bool{} // by address and fields: pages have the same form many times
			for address, who := range pages {
				r.be(who)
				p := r.get(address)
				for _, form := range all(p.root, "form") {
					if attr(form, "method") != "post" || attr(form, "action") == "/language" || attr(form, "action") == "/start" {
						continue
					}
					if sent[kindOf(form)] {
						continue
					}
					sent[kindOf(form)] = true
					for kind, text := range typedIn {
						r.hostileForm(form, kind, text, false)
					}
					r.hostileForm(form, "markup, hidden fields too", hostile, true)
				}
			}
			if len(sent) == 0 {
				t.Error("no form was found")
			}
		})
	}
}

// kindOf is what a form has in common with others of its kind.
func kindOf(form *html.Node) string {
	names := []string{path.Base(attr(form, "action"))}
	for _, tag := range []string{"input", "select", "textarea", "button"} {
		for _, field := range all(form, tag) {
			name, _, _ := strings.Cut(attr(field, "name"), ".")
			names = append(names, strings.TrimRight(name, "0123456789"))
		}
	}
	slices.Sort(names)
	return strings.Join(slices.Compact(names), " ")
}

// pagesByRole are every page by who goes there.
func pagesByRole() map[string]map[string]identity.Identity {
	byRole := map[string]map[string]identity.Identity{}
	for path, who := range places() {
		if who.Role == "" {
			continue
		}
		if byRole[string(who.Role)] == nil {
			byRole[string(who.Role)] = map[string]identity.Identity{}
		}
		byRole[string(who.Role)][path] = who
	}
	return byRole
}

// hostileForm sends a form as a browser that somebody tampered with.
func (r *rig) hostileForm(form *html.Node, kind, text string, hidden bool) {
	r.t.Helper()
	values := fields(form)
	for _, field := range append(all(form, "input"), all(form, "textarea")...) {
		name, of := attr(field, "name"), attr(field, "type")
		if name == "" || of == "file" || of == "hidden" && (!hidden || name == "request_id") {
			continue
		}
		values.Set(name, text)
	}
	if hidden {
		for _, choice := range all(form, "select") {
			values.Set(attr(choice, "name"), text)
		}
	}
	action := attr(form, "action")
	var p *page
	if attr(form, "enctype") == "multipart/form-data" {
		p = r.postFile(action, values, form, text)
	} else {
		p = r.post(action, values)
	}
	if p.status >= http.StatusInternalServerError {
		r.t.Errorf("%s with %s: answered %d: %s", action, kind, p.status, words(find(p.root, "main")))
	}
	clean(r.t, p)
	if len(p.text) > 2_000_000 {
		r.t.Errorf("%s with %s: answered %d bytes", action, kind, len(p.text))
	}
}

// postFile sends a form with a file that is none of its kind.
func (r *rig) postFile(action string, values url.Values, form *html.Node, text string) *page {
	r.t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for name, all := range values {
		for _, value := range all {
			if err := w.WriteField(name, value); err != nil {
				r.t.Fatal(err)
			}
		}
	}
	for _, field := range all(form, "input") {
		if attr(field, "type") != "file" {
			continue
		}
		part, err := w.CreateFormFile(attr(field, "name"), "../../etc/"+text[:min(len(text), 40)]+".svg")
		if err != nil {
			r.t.Fatal(err)
		}
		if _, err := part.Write([]byte("<svg onload=alert(1)>" + text)); err != nil {
			r.t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		r.t.Fatal(err)
	}
	req, err := http.NewRequest(http.MethodPost, r.url+action, &body)
	if err != nil {
		r.t.Fatal(err)
	}
	req.Header.Set("Content-Type", w.FormDataContentType())
	return r.do(req)
}

// TestChoosingWhoToBeTakesHostileInput: the one form that anybody may send.
func TestChoosingWhoToBeTakesHostileInput(t *testing.T) {
	t.Parallel()
	r := visit(t, fakecoop.Who(identity.Coordinator, ""))
	for kind, text := range typedIn {
		for _, values := range []url.Values{{"as": {"coordinator"}, "name": {text}}, {"as": {text}, "name": {"Una"}}, {"as": {"grower:" + text}, "name": {"Una"}}} {
			p := r.post("/start", values)
			if p.status >= http.StatusInternalServerError {
				t.Errorf("%s: answered %d", kind, p.status)
			}
			clean(t, p)
		}
		if p := r.post("/language", url.Values{"language": {text}, "back": {text}}); p.status >= http.StatusInternalServerError {
			t.Errorf("language, %s: answered %d", kind, p.status)
		}
	}
}
