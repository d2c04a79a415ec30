package web_test

import (
	"strings"
	"testing"

	"golang.org/x/net/html"

	"breakshare.example/gateway/internal/fakecoop"
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// hostile is what a name could hold if every check before the page had failed.
const hostile = `"><script>alert(1)</script><img src=x onerror=alert(2)>&lt;{{.}} '` + "\u202eevil\u202c\u200bhidden\u0007 עברית"

// TestNamesCannotBreakOut puts hostile text into everything that people write and looks for
// anything that a browser would run, fetch or mistake.
func TestNamesCannotBreakOut(t *testing.T) {
	t.Parallel()
	poison := func(c *fakecoop.Coop) {
		c.Settings.Name = hostile
		for _, f := range c.Farms {
			f.Name, f.Place = hostile, hostile
		}
		for _, r := range c.Rooms {
			r.Name = hostile
		}
		for _, p := range c.Products {
			p.Name = hostile
		}
		for _, k := range c.Customers {
			k.Name, k.Place = hostile, hostile
		}
		for _, y := range c.Yards {
			y.Name, y.Place = hostile, hostile
		}
		for _, l := range c.Match.Lines {
			l.Explanation = hostile
		}
		for _, e := range c.Expected {
			e.PushedBy = hostile
		}
		c.Pins = []*orderv1.Pin{{
			PinId: "by-hand", DeliveryDate: fakecoop.Tomorrow, Kind: orderv1.PinKind_PIN_KIND_PACKS, OrderId: "harbour-light-20261126", ProductId: "white-closed-2kg", Reason: hostile, MadeBy: hostile,
		}}
		c.Incidents = []*harvestv1.Incident{{IncidentId: "incident-1", RoomId: "alder-brook-1", Pest: hostile, Note: hostile, ReportedBy: hostile, ThresholdSource: hostile, HasPhoto: true}}
		c.Feeds = []*schedulingv1.Feed{{FeedId: "feed-1", Kind: schedulingv1.FeedKind_FEED_KIND_FARM, TargetId: "alder-brook", CreatedBy: hostile}}
		for _, s := range c.Slots {
			s.State, s.WithdrawalNotice, s.WithdrawnBy = compostlotv1.SlotState_SLOT_STATE_WITHDRAWN, hostile, hostile
		}
		for _, p := range c.Match.Products {
			p.LeftOver = hostile
		}
		for _, r := range c.Reports {
			r.Recipe.Name, r.Recipe.Parts[0].Ingredient.Name, r.Turns[0].Note, r.Turns[0].RecordedBy = hostile, hostile, hostile, hostile
			r.Decisions[0].Reason, r.Decisions[0].DecidedBy, r.Gas[0].Explanation, r.Deference = hostile, hostile, hostile, hostile
			r.Yard.Name, r.Caution, r.Lot.HoldReason, r.Lot.ReleasedBy, r.Lot.ExceptionReason = hostile, hostile, hostile, hostile, hostile
			for _, one := range r.Criteria {
				one.Requirement, one.Explanation, one.Source = hostile, hostile, hostile
			}
		}
		for _, l := range c.Trace.PickLots {
			l.Held, l.HoldReason, l.CompostException = true, hostile, hostile
		}
		for _, r := range c.Reports {
			r.Samples = []*compostlotv1.HeapSample{{Time: r.Turns[0].GetTime(), Mass: &compostlotv1.Mass{Grams: 1000}, Note: hostile, RecordedBy: hostile}}
			r.MassBalance = []*compostlotv1.MassBalanceStep{{Explanation: hostile}}
		}
		for _, r := range c.Recipes {
			r.Name, r.Parts[0].Ingredient.Name, r.Mix.GypsumBands[0].Band, r.Mix.GypsumBands[0].Source = hostile, hostile, hostile, hostile
		}
		c.Refused[0].Topic, c.Refused[0].Payload, c.Refused[0].Reason = hostile, hostile, hostile
		c.Trace.Compost.ReleasedBy, c.Trace.Compost.ExceptionReason = hostile, hostile
	}
	outer := visit(t, identity.Identity{}, poison)
	for path, who := range places() {
		t.Run(path, func(t *testing.T) {
			r := outer.in(t)
			who.Name = "<b>Una</b>"
			r.be(who)
			clean(t, r.get(path).ok())
		})
	}
}

// clean wants nothing in the document that a page of ours would not put there.
func clean(t *testing.T, p *page) {
	t.Helper()
	for n := range p.root.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		for _, a := range n.Attr {
			if strings.HasPrefix(a.Key, "on") {
				t.Errorf("<%s %s=%q>", n.Data, a.Key, a.Val)
			}
		}
		switch n.Data {
		case "script":
			if src := attr(n, "src"); src != "/static/breakshare.js" && src != "/static/queue.js" && src != "/static/waiting.js" && src != "/static/live.js" || n.FirstChild != nil {
				t.Errorf("a script that is not ours: %v", n.Attr)
			}
		case "img":
			if src := attr(n, "src"); src != "/static/mark.svg" && src != "/round/photo/incident-1" {
				t.Errorf("an image that is not ours: %v", n.Attr)
			}
		case "iframe", "object", "embed", "base", "meta":
			if n.Data != "meta" {
				t.Errorf("<%s>", n.Data)
			}
		case "bdi":
			if text := words(n); strings.ContainsAny(text, "\u202e\u202c\u200b\u0007") {
				t.Errorf("a name hides characters: %q", text)
			}
		}
	}
}

func TestMessagesOfServicesCannotBreakOut(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/push")
	r.coop.Fail("PushExpectedPicks", fault.New(fault.Invalid, "BAD", "%s", hostile).WithField("expected_picks[0].low_grams", "%s", hostile).WithField("elsewhere", "%s", hostile))
	clean(t, r.submit(p, "/push", map[string]string{likely: hostile}))
	r.submit(p, "/push", nil).says("#p-"+low+"-error", "<script>alert(1)</script>")
	clean(t, visit(t, coordinator).get("/trace?code="+strings.NewReplacer("%", "%25", " ", "+", "#", "%23", "&", "%26").Replace(`"><script>x</script>`)))
}

func TestALongNameDoesNotBreakThePage(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("Ω", 10_000)
	r := visit(t, identity.Identity{}, func(c *fakecoop.Coop) { c.Farms[0].Name = long })
	p := r.get("/tomorrow").ok()
	p.says("#t-farms th", long)
}
