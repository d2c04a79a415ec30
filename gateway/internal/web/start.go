package web

import (
	"context"
	"net/http"
	"net/url"
	"strings"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

const (
	languageCookie = "breakshare_language"
	yearSeconds    = 365 * 24 * 60 * 60
	// longestName is what a token and a line of a page can bear.
	longestName = 120
)

// navItem is one place that a role goes to.
type navItem struct {
	Path, Key string
	Current   bool
}

// languageItem is one language to choose.
type languageItem struct {
	Tag, Name string
	Current   bool
}

// places are where each role goes, the first one being their day.
var places = map[identity.Role][]navItem{
	identity.Coordinator: {{Path: "/tomorrow", Key: "tomorrow.title"}, {Path: "/quarter", Key: "quarter.title"}, {Path: "/feeds", Key: "feeds.title"}, {Path: "/slots", Key: "slots.title"}, {Path: "/lots", Key: "lots.title"}, {Path: "/trace", Key: "trace.title"}, {Path: "/scores", Key: "scores.title"}, {Path: "/settings", Key: "settings.title"}, {Path: "/health", Key: "health.title"}},
	identity.Grower:      {{Path: "/push", Key: "push.title"}, {Path: "/pick", Key: "pick.title"}, {Path: "/round", Key: "round.title"}, {Path: "/rooms", Key: "rooms.title"}, {Path: "/cold", Key: "cold.title"}, {Path: "/share", Key: "share.place"}, {Path: "/feeds", Key: "feeds.title"}},
	identity.YardManager: {{Path: "/slots", Key: "slots.title"}, {Path: "/lots", Key: "lots.title"}, {Path: "/recipes", Key: "recipes.title"}, {Path: "/entry", Key: "entry.title"}, {Path: "/feeds", Key: "feeds.title"}},
	identity.Buyer:       {{Path: "/orders", Key: "orders.title"}, {Path: "/standing", Key: "standing.title"}, {Path: "/deliveries", Key: "deliveries.title"}},
	identity.Operator:    {{Path: "/health", Key: "health.title"}},
}

// under tells which place a page without a place of its own belongs to.
var under = map[string]string{"/proposals": "/quarter", "/proposals/accept": "/quarter", "/whatif": "/quarter", "/demand": "/quarter", "/demand/overrule": "/quarter", "/planning": "/quarter", "/quarter/move": "/quarter", "/quarter/shift": "/quarter", "/planning/weights": "/quarter", "/planning/days": "/quarter", "/month": "/quarter", "/plan": "/quarter", "/programmes": "/quarter", "/kitchens": "/settings", "/releaserules": "/lots", "/notes": "/pick", "/line": "/tomorrow", "/line/pin": "/tomorrow", "/climate": "/rooms", "/fan": "/rooms", "/scored": "/scores", "/said": "/push", "/push/file": "/push"}

func navOf(v *visit) []navItem {
	var nav []navItem
	for _, item := range places[v.who.Role] {
		item.Current = v.r.URL.Path == item.Path || strings.HasPrefix(v.r.URL.Path, item.Path+"/") || item.Path == under[v.r.URL.Path]
		nav = append(nav, item)
	}
	return nav
}

// home leads a visitor to their day, or to the choice of who they are.
func (p *Pages) home(v *visit) (view, error) {
	if _, chosen := p.door.Chosen(v.r); !chosen {
		return view{goTo: "/start"}, nil
	}
	return view{goTo: dayOf(v.who.Role)}, nil
}

func dayOf(role identity.Role) string {
	if all := places[role]; len(all) > 0 {
		return all[0].Path
	}
	return "/start"
}

// startPage is the choice of who you are.
type startPage struct {
	Coop      string
	Name      string
	Farms     []person
	Yards     []person
	Customers []person
}

// person is somebody to be, by what they stand for.
type person struct{ ID, Name, Place string }

// showStart lists whom a visitor of this machine can be. It asks in the office's name, since
// the visitor has none yet.
func (p *Pages) showStart(v *visit) (view, error) {
	office, ok := p.door.Office(v.r)
	if !ok {
		return view{template: "nobody", title: "nobody.title", status: http.StatusUnauthorized}, nil
	}
	if !v.known {
		v.who = office
	}
	page := startPage{Name: v.who.Name}
	err := together(identity.With(v.ctx, office),
		func(ctx context.Context) error {
			coop, err := p.scheduling.GetCoop(ctx, &schedulingv1.GetCoopRequest{})
			page.Coop = coop.GetName()
			return err
		},
		func(ctx context.Context) error {
			res, err := p.scheduling.ListFarms(ctx, &schedulingv1.ListFarmsRequest{})
			for _, f := range res.GetFarms() {
				page.Farms = append(page.Farms, person{f.GetFarmId(), f.GetName(), f.GetPlace()})
			}
			return err
		},
		func(ctx context.Context) error {
			res, err := p.compostlot.ListYards(ctx, &compostlotv1.ListYardsRequest{})
			for _, y := range res.GetYards() {
				page.Yards = append(page.Yards, person{y.GetYardId(), y.GetName(), y.GetPlace()})
			}
			return err
		},
		func(ctx context.Context) error {
			res, err := p.order.ListCustomers(ctx, &orderv1.ListCustomersRequest{})
			for _, c := range res.GetCustomers() {
				page.Customers = append(page.Customers, person{c.GetCustomerId(), c.GetName(), c.GetPlace()})
			}
			return err
		},
	)
	return view{template: "start", title: "start.title", data: page}, err
}

// choose remembers who the visitor is and leads them to their day.
func (p *Pages) choose(v *visit) (view, error) {
	role, id, _ := strings.Cut(v.r.PostFormValue("as"), ":")
	who := identity.Identity{Role: identity.Role(role), Name: strings.TrimSpace(v.r.PostFormValue("name"))}
	if len(who.Name) > longestName {
		return view{}, fault.InvalidField("name", "%s", v.words.T("problem.name_long", longestName))
	}
	switch who.Role {
	case identity.Grower:
		who.FarmID = id
	case identity.YardManager:
		who.YardID = id
	case identity.Buyer:
		who.CustomerID = id
	case identity.Coordinator, identity.Operator:
	default:
		return view{}, fault.InvalidField("as", "%s", v.words.T("start.nobody"))
	}
	if err := p.door.Choose(v.w, v.r, who); err != nil {
		return view{}, err
	}
	return view{goTo: dayOf(who.Role)}, nil
}

// chooseLanguage remembers the language and leads back to where the visitor was.
func (p *Pages) chooseLanguage(v *visit) (view, error) {
	l := p.languages.Match(v.r.PostFormValue("language"), "")
	http.SetCookie(v.w, &http.Cookie{
		Name: languageCookie, Value: l.Tag(), Path: "/", MaxAge: yearSeconds,
		HttpOnly: true, Secure: v.r.TLS != nil, SameSite: http.SameSiteLaxMode,
	})
	return view{goTo: ownPath(v.r.PostFormValue("back"))}, nil
}

// ownPath is a path on this host, or the start for anything else: a form must not lead a
// visitor elsewhere.
func ownPath(address string) string {
	u, err := url.Parse(address)
	if err != nil || u.Host != "" || u.Scheme != "" || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.Contains(address, "\\") {
		return "/"
	}
	return u.RequestURI()
}
