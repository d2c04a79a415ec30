package web_test

import (
	"strings"
	"testing"

	"golang.org/x/net/html"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/services/platform/identity"
)

// places are every page with somebody who goes there.
func places() map[string]identity.Identity {
	coordinator, grower := fakecoop.Who(identity.Coordinator, ""), fakecoop.Who(identity.Grower, "alder-brook")
	manager, buyer := fakecoop.Who(identity.YardManager, "quarry-end"), fakecoop.Who(identity.Buyer, "copper-pan")
	return map[string]identity.Identity{
		"/start": {}, "/tomorrow": coordinator, "/tomorrow?day=2026-12-01": coordinator, "/quarter": coordinator, "/scores": coordinator, "/settings": coordinator, "/settings/farms": coordinator, "/kitchens": coordinator, "/kitchens/copper-pan": coordinator, "/feeds": coordinator, "/line?match=m-1&order=harbour-light-20261126&product=white-closed-2kg": coordinator, "/proposals": coordinator, "/proposals?run=yes&weeks=26&seconds=5": coordinator, "/whatif": coordinator, "/demand": coordinator, "/plan": coordinator, "/programmes": coordinator, "/programmes?programme=white-shelves": coordinator, "/programmes?programme=brown-trays": grower, "/plan?room=alder-brook-1": grower, "/planning": coordinator, "/month": coordinator, "/month?of=yard:quarry-end&month=2026-12": coordinator, "/slots": coordinator, "/slots?preview=yes": coordinator,
		"/lots": manager, "/sharing": coordinator, "/releaserules": coordinator, "/releaserules?phase=one": manager, "/compost": grower, "/compost?request=alder-brook-3-20261207&earliest=2026-12-07&latest=2026-12-16": grower, "/recipes": manager, "/openlot": manager, "/refused": manager, "/refused?farm=alder-brook": grower, "/refused?of=all": coordinator, "/lots/quarry-end-26-41/work": manager, "/recipes?recipe=straw-and-litter": manager, "/entry": manager, "/entry?place=tunnel&lot=quarry-end-26-41": manager, "/lots/quarry-end-26-41": manager, "/lots/quarry-end-26-42": manager, "/trace": coordinator, "/trace?code=ab-1125-001": coordinator,
		"/trace?code=quarry-end-26-37": coordinator, "/trace?code=alder-brook-1-white-closed-2kg-20261125": coordinator, "/trace?code=nothing": coordinator,
		"/push": grower, "/pick": grower, "/rooms": grower, "/round": grower, "/cold": grower, "/climate": grower, "/climate?room=alder-brook-1&day=2026-11-25": grower, "/fan": grower, "/scored": grower, "/scored?days=28": coordinator, "/said?lot=alder-brook-1-white-closed-2kg-20261126": grower, "/said?lot=nothing": grower, "/picked": grower, "/picked?day=2026-11-25&pick=w-2": grower, "/picked?day=2026-12-24": grower, "/waiting": grower, "/orders": buyer, "/share": grower, "/notes?day=2026-11-25": grower, "/standing": buyer, "/deliveries": buyer, "/health": fakecoop.Who(identity.Operator, ""),
	}
}

func TestEveryPageHolds(t *testing.T) {
	t.Parallel()
	for _, language := range []string{"en", "de"} {
		t.Run(language, func(t *testing.T) {
			t.Parallel()
			outer := visit(t, identity.Identity{})
			outer.accept = language
			for path, who := range places() {
				t.Run(path, func(t *testing.T) {
					r := outer.in(t)
					r.be(who)
					before := r.coop.AllCalls()
					p := r.get(path).ok()
					if calls := r.coop.AllCalls() - before; calls > 12 {
						t.Errorf("%d calls for one page, more than a dozen", calls)
					}
					checkDocument(t, p, language)
				})
			}
		})
	}
}

// checkDocument holds a page to what all pages promise.
func checkDocument(t *testing.T, p *page, language string) {
	t.Helper()
	if len(p.text) > 100_000 {
		t.Errorf("the page has %d bytes, more than 100 kB", len(p.text))
	}
	if got := attr(find(p.root, "html"), "lang"); got != language {
		t.Errorf("lang is %q, want %q", got, language)
	}
	if n := len(all(p.root, "h1")); n != 1 {
		t.Errorf("%d h1", n)
	}
	ids := map[string]bool{}
	for n := range p.root.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		if id := attr(n, "id"); id != "" && ids[id] {
			t.Errorf("id %q twice", id)
		} else {
			ids[id] = true
		}
		for _, a := range n.Attr {
			if a.Key == "style" || strings.HasPrefix(a.Key, "on") {
				t.Errorf("<%s> has %s inline, which the content security policy refuses", n.Data, a.Key)
			}
		}
		if (n.Data == "script" || n.Data == "style") && n.FirstChild != nil {
			t.Errorf("inline <%s>", n.Data)
		}
	}
	checkForms(t, p, ids)
	if text := words(find(p.root, "body")); strings.Contains(text, "{0}") || strings.Contains(text, "%!") || strings.Contains(text, "<nil>") {
		t.Errorf("something was left unfilled: %s", text)
	}
}

// checkForms wants a label for every field and a request id in every form that changes things.
func checkForms(t *testing.T, p *page, ids map[string]bool) {
	t.Helper()
	labelled := map[string]bool{}
	for _, l := range all(p.root, "label") {
		labelled[attr(l, "for")] = true
		if target := attr(l, "for"); target != "" && !ids[target] {
			t.Errorf("a label for %q, which is not there", target)
		}
	}
	for _, tag := range []string{"input", "select"} {
		for _, in := range all(p.root, tag) {
			if kind := attr(in, "type"); kind != "hidden" && kind != "checkbox" && kind != "radio" && !labelled[attr(in, "id")] {
				t.Errorf("the field %q has no label", attr(in, "name"))
			}
		}
	}
	minted := map[string]bool{}
	for _, f := range all(p.root, "form") {
		if action := attr(f, "action"); attr(f, "method") != "post" || action == "/start" || action == "/language" {
			continue
		}
		id := fields(f).Get("request_id")
		if id == "" || minted[id] {
			t.Errorf("the form of %s has the request id %q, which must be there and its own", attr(f, "action"), id)
		}
		minted[id] = true
	}
}
