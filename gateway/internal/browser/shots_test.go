package browser

import (
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// artefacts is where screenshots are kept, beside the repository's other products.
const artefacts = "../../../.artefacts/pages"

// pages are every page by who looks at it.
var pages = []struct{ who, path string }{
	{"coordinator", "/start"}, {"coordinator", "/tomorrow"}, {"coordinator", "/tomorrow?day=2026-12-01"}, {"coordinator", "/quarter"}, {"coordinator", "/scores"}, {"coordinator", "/feeds"}, {"coordinator", "/line?match=m-1&order=harbour-light-20261126&product=white-closed-2kg"}, {"coordinator", "/proposals?run=yes"}, {"coordinator", "/whatif"}, {"coordinator", "/slots"},
	{"coordinator", "/slots?preview=yes"}, {"coordinator", "/trace"}, {"coordinator", "/trace?code=quarry-end-26-37"}, {"coordinator", "/trace?code=ab-1125-001"},
	{"coordinator", "/trace?code=nothing"}, {"grower:alder-brook", "/push"}, {"grower:alder-brook", "/pick"}, {"grower:alder-brook", "/rooms"}, {"grower:alder-brook", "/round"}, {"grower:alder-brook", "/cold"},
	{"yard_manager:quarry-end", "/slots"}, {"yard_manager:quarry-end", "/lots"}, {"yard_manager:quarry-end", "/entry?place=tunnel&lot=quarry-end-26-41"}, {"yard_manager:quarry-end", "/lots/quarry-end-26-41"}, {"yard_manager:quarry-end", "/lots/quarry-end-26-42"},
	{"buyer:copper-pan", "/orders"}, {"operator", "/health"}, {"operator", "/push"},
}

// TestPagesLookRight keeps a screenshot of every page on every screen, and holds each to what
// a machine can see: nothing sticks out sideways, and no rule of accessibility is broken.
func TestPagesLookRight(t *testing.T) {
	axe := axeCore(t)
	for _, s := range []screen{phone, desk} {
		for _, dark := range []bool{false, true} {
			s.dark = dark
			t.Run(s.name+map[bool]string{false: " light", true: " dark"}[dark], func(t *testing.T) {
				r := open(t, s)
				who := ""
				for _, p := range pages {
					if p.who != who {
						r.as(p.who)
						who = p.who
					}
					r.goTo(p.path)
					r.noSidewaysScroll(p.path)
					r.shot(s, p.who, p.path)
					// Each width and each scheme is held to the rules once: the phone by
					// day, the desk by night.
					if s.dark == (s.name == desk.name) {
						r.noViolations(axe, p.path)
					}
				}
			})
		}
	}
}

// noSidewaysScroll wants the page no wider than the screen.
func (r *rig) noSidewaysScroll(path string) {
	r.t.Helper()
	if over := run(r, chromedp.Evaluate[int](`document.documentElement.scrollWidth - document.documentElement.clientWidth`)); over > 0 {
		r.t.Errorf("%s sticks out by %d pixels", path, over)
	}
}

func (r *rig) shot(s screen, who, path string) {
	r.t.Helper()
	png := run(r, chromedp.FullScreenshot(100))
	role, _, _ := strings.Cut(who, ":")
	scheme := map[bool]string{false: "light", true: "dark"}[s.dark]
	name := strings.NewReplacer("/", "_", "?", "_", "=", "-").Replace(strings.TrimPrefix(path, "/"))
	file := filepath.Join(artefacts, role+"_"+url.PathEscape(name)+"_"+s.name+"_"+scheme+".png")
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		r.t.Fatal(err)
	}
	if err := os.WriteFile(file, png, 0o644); err != nil {
		r.t.Fatal(err)
	}
}
