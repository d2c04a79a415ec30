package main

import (
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// people are somebody of each role, by what stands before the colon in the choice of who you are.
type people struct {
	gateway string
	clients map[string]*http.Client
}

// request is a page that somebody asks for.
type request struct {
	who, path string
	gateway   string
	client    *http.Client
}

// answer is what the server said and what it took.
type answer struct {
	status int
	took   time.Duration
	calls  int
	body   string
}

var choice = regexp.MustCompile(`name="as" value="([a-z_]+)(:[a-z0-9-]+)?"`)

// whoGoes chooses the first person of each role that the start page offers.
func whoGoes(gateway string) (*people, error) {
	p := &people{gateway: gateway, clients: map[string]*http.Client{}}
	jar, err := cookiejar.New(nil)
	if err != nil {
		return nil, err
	}
	start, err := request{"office", "/start", gateway, &http.Client{Jar: jar}}.ask()
	if err != nil {
		return nil, err
	}
	for _, found := range choice.FindAllStringSubmatch(start.body, -1) {
		role := found[1]
		if p.clients[role] != nil {
			continue
		}
		jar, err := cookiejar.New(nil)
		if err != nil {
			return nil, err
		}
		client := &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
		res, err := client.PostForm(gateway+"/start", url.Values{"as": {role + found[2]}, "name": {"Bench"}})
		if err != nil {
			return nil, err
		}
		_ = res.Body.Close() // nothing is read of a redirect
		if res.StatusCode != http.StatusSeeOther {
			return nil, fmt.Errorf("to be %s%s answers %d", role, found[2], res.StatusCode)
		}
		p.clients[role] = client
	}
	return p, nil
}

var (
	duration = regexp.MustCompile(`page;dur=([0-9.]+)`)
	calls    = regexp.MustCompile(`calls;desc=([0-9]+)`)
)

// ask asks once; the times are the server's own.
func (r request) ask() (answer, error) {
	res, err := r.client.Get(r.gateway + r.path)
	if err != nil {
		return answer{}, err
	}
	defer func() { _ = res.Body.Close() }() // it was read to its end
	body, err := io.ReadAll(res.Body)
	a := answer{status: res.StatusCode, body: string(body)}
	timing := res.Header.Get("Server-Timing")
	if found := duration.FindStringSubmatch(timing); found != nil {
		ms, err := strconv.ParseFloat(found[1], 64)
		if err != nil {
			return a, err
		}
		a.took = time.Duration(ms * float64(time.Millisecond))
	}
	if found := calls.FindStringSubmatch(timing); found != nil {
		if a.calls, err = strconv.Atoi(found[1]); err != nil {
			return a, err
		}
	}
	return a, err
}

// places are the pages of each role; {day} is the day that was matched.
var places = map[string][]string{
	"coordinator": {
		"/start", "/tomorrow?day={day}", "/tomorrow?day={day}&sort=lines.-short_packs", "/tomorrow?day={day}&as=csv&table=lines", "/quarter", "/demand", "/planning", "/proposals", "/whatif",
		"/slots", "/lots", "/scores", "/settings", "/settings/farms", "/kitchens", "/feeds",
	},
	"grower":       {"/push?day={day}", "/pick?day={day}", "/round", "/rooms", "/cold", "/share"},
	"yard_manager": {"/slots", "/lots", "/recipes", "/entry"},
	"buyer":        {"/orders", "/standing", "/deliveries"},
	"operator":     {"/health"},
}

// found are pages whose addresses other pages tell: the first link of a page that matches.
var found = []struct {
	who, on string
	link    *regexp.Regexp
	path    string // {0} is what was found
}{
	{"coordinator", "/tomorrow?day={day}", regexp.MustCompile(`href="(/line\?[^"]+)"`), "{0}"},
	{"coordinator", "/tomorrow?day={day}", regexp.MustCompile(`href="(/tomorrow\?[^"#]*farm=[^"#]+)`), "{0}"},
	{"coordinator", "/lots", regexp.MustCompile(`href="(/lots/[^"/]+)"`), "{0}"},
	{"coordinator", "/lots", regexp.MustCompile(`href="/lots/([^"/]+)"`), "/trace?code={0}"},
	{"coordinator", "/kitchens", regexp.MustCompile(`href="(/kitchens/[^"]+)"`), "{0}"},
	{"coordinator", "/tomorrow?day={day}", regexp.MustCompile(`<span class="code">([^<]+)</span>`), "/trace?code={0}"},
}

// pages are all pages to ask for. Those that are not there are left out.
func (p *people) pages(day string) ([]request, error) {
	var all []request
	add := func(who, path string) error {
		r := request{who, strings.ReplaceAll(path, "{day}", day), p.gateway, p.clients[who]}
		a, err := r.ask()
		if err == nil && a.status == http.StatusOK {
			all = append(all, r)
		} else if err == nil {
			fmt.Printf("left out: %s %s answers %d\n", who, r.path, a.status)
		}
		return err
	}
	for _, who := range []string{"coordinator", "grower", "yard_manager", "buyer", "operator"} {
		if p.clients[who] == nil {
			return nil, fmt.Errorf("nobody can be %s: import a co-op first", who)
		}
		for _, path := range places[who] {
			if err := add(who, path); err != nil {
				return nil, err
			}
		}
	}
	for _, f := range found {
		on, err := request{f.who, strings.ReplaceAll(f.on, "{day}", day), p.gateway, p.clients[f.who]}.ask()
		if err != nil {
			return nil, err
		}
		if link := f.link.FindStringSubmatch(on.body); link != nil {
			path := strings.ReplaceAll(strings.ReplaceAll(f.path, "{0}", link[1]), "&amp;", "&")
			if err := add(f.who, path); err != nil {
				return nil, err
			}
		}
	}
	return all, nil
}
