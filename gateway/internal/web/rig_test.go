package web_test

import (
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/gateway/internal/signin"
	"breakshare.example/gateway/internal/web"
	"breakshare.example/services/platform/identity"
)

// rig is the pages over a co-op, and one visitor's browser without scripts.
type rig struct {
	t      *testing.T
	coop   *fakecoop.Coop
	url    string
	client *http.Client
	accept string
}

// visit starts the pages and has the visitor be somebody.
func visit(t *testing.T, who identity.Identity, change ...func(*fakecoop.Coop)) *rig {
	t.Helper()
	coop := fakecoop.Start(t)
	for _, c := range change {
		c(coop)
	}
	office := fakecoop.Who(identity.Coordinator, "")
	door := signin.New(coop.Tokens, func() (identity.Identity, bool) { return office, true })
	pages, err := web.New(web.Options{Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Clock: coop.Clock, Dial: coop.Dial, Door: door})
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(door.Page(pages))
	t.Cleanup(server.Close)
	jar, _ := cookiejar.New(nil)
	r := &rig{t: t, coop: coop, url: server.URL, client: &http.Client{Jar: jar, Transport: server.Client().Transport}, accept: "en"}
	r.be(who)
	return r
}

// be has the visitor be somebody; nobody stays nobody.
func (r *rig) be(who identity.Identity) {
	r.t.Helper()
	if who.Role == "" {
		return
	}
	as := string(who.Role)
	if id := who.FarmID + who.YardID + who.CustomerID; id != "" {
		as += ":" + id
	}
	r.post("/start", url.Values{"as": {as}, "name": {who.Name}})
}

// in is the same visitor within a test of its own.
func (r *rig) in(t *testing.T) *rig {
	inner := *r
	inner.t = t
	return &inner
}

// page is an answer with its document.
type page struct {
	t      *testing.T
	status int
	path   string
	header http.Header
	text   string
	root   *html.Node
}

func (r *rig) do(req *http.Request) *page {
	r.t.Helper()
	req.Header.Set("Accept-Language", r.accept)
	res, err := r.client.Do(req)
	if err != nil {
		r.t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		r.t.Fatal(err)
	}
	root, err := html.Parse(strings.NewReader(string(body)))
	if err != nil {
		r.t.Fatal(err)
	}
	return &page{t: r.t, status: res.StatusCode, path: res.Request.URL.RequestURI(), header: res.Header, text: string(body), root: root}
}

func (r *rig) get(path string) *page {
	r.t.Helper()
	req, err := http.NewRequest(http.MethodGet, r.url+path, nil)
	if err != nil {
		r.t.Fatal(err)
	}
	return r.do(req)
}

func (r *rig) post(path string, values url.Values) *page {
	r.t.Helper()
	req, err := http.NewRequest(http.MethodPost, r.url+path, strings.NewReader(values.Encode()))
	if err != nil {
		r.t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return r.do(req)
}

// submit sends the form of an action as a browser without scripts does, with some fields
// typed into.
func (r *rig) submit(p *page, action string, typed map[string]string) *page {
	r.t.Helper()
	values := p.form(action)
	for name, value := range typed {
		if _, ok := values[name]; !ok {
			r.t.Fatalf("the form of %s has no field %q, only %v", action, name, values)
		}
		values.Set(name, value)
	}
	return r.post(action, values)
}

func (p *page) ok() *page {
	p.t.Helper()
	if p.status != http.StatusOK {
		p.t.Fatalf("%s answered %d:\n%s", p.path, p.status, words(find(p.root, "main")))
	}
	return p
}

// form is what a browser would send of the first form with the action.
func (p *page) form(action string) url.Values {
	p.t.Helper()
	for _, f := range all(p.root, "form") {
		if attr(f, "action") == action {
			return fields(f)
		}
	}
	p.t.Fatalf("%s has no form for %s", p.path, action)
	return nil
}

func fields(form *html.Node) url.Values {
	values := url.Values{}
	for _, in := range all(form, "input") {
		if kind := attr(in, "type"); (kind == "checkbox" || kind == "radio") && !has(in, "checked") || attr(in, "name") == "" {
			continue
		}
		values.Add(attr(in, "name"), attr(in, "value"))
	}
	for _, sel := range all(form, "select") {
		for i, o := range all(sel, "option") {
			if has(o, "selected") || i == 0 {
				values.Set(attr(sel, "name"), attr(o, "value"))
			}
		}
	}
	return values
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func has(n *html.Node, name string) bool {
	for _, a := range n.Attr {
		if a.Key == name {
			return true
		}
	}
	return false
}

// matches understands "tag", ".class", "tag.class" and "#id".
func matches(n *html.Node, selector string) bool {
	if n.Type != html.ElementNode {
		return false
	}
	if id, ok := strings.CutPrefix(selector, "#"); ok {
		return attr(n, "id") == id
	}
	tag, class, _ := strings.Cut(selector, ".")
	if tag != "" && n.Data != tag {
		return false
	}
	return class == "" || strings.Contains(" "+attr(n, "class")+" ", " "+class+" ")
}

// all are the nodes below root that match a selector of descendants: "section#short li b" has
// its parts apart by blanks.
func all(root *html.Node, selector string) []*html.Node {
	if root == nil {
		return nil
	}
	parts := strings.Fields(selector)
	found := []*html.Node{root}
	for _, part := range parts {
		var next []*html.Node
		seen := map[*html.Node]bool{}
		for _, from := range found {
			for n := range from.Descendants() {
				if matches(n, part) && !seen[n] {
					seen[n] = true
					next = append(next, n)
				}
			}
		}
		found = next
	}
	return found
}

func find(root *html.Node, selector string) *html.Node {
	if nodes := all(root, selector); len(nodes) > 0 {
		return nodes[0]
	}
	return nil
}

// words is the text below a node, blanks folded.
func words(n *html.Node) string {
	if n == nil {
		return ""
	}
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data + " ")
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// says wants the text within the first match of a selector.
func (p *page) says(selector, text string) *page {
	p.t.Helper()
	var got []string
	for _, n := range all(p.root, selector) {
		if w := words(n); strings.Contains(w, text) {
			return p
		} else {
			got = append(got, w)
		}
	}
	p.t.Errorf("%s: no %q says %q; they say %q", p.path, selector, text, got)
	return p
}

// without wants no match of a selector.
func (p *page) without(selector string) *page {
	p.t.Helper()
	if n := find(p.root, selector); n != nil {
		p.t.Errorf("%s: there is a %q: %q", p.path, selector, words(n))
	}
	return p
}
