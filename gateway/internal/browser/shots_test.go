package browser

import (
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// artefacts is where screenshots are kept, beside the repository's other products.
const artefacts = "../../../.artefacts/pages"

// pages are every page by who looks at it.
var pages = []struct{ who, path string }{
	{"coordinator", "/start"}, {"coordinator", "/tomorrow"}, {"coordinator", "/tomorrow?day=2026-12-01"}, {"coordinator", "/line?match=m-1&order=harbour-light-20261126&product=white-closed-2kg"},
	{"coordinator", "/quarter"}, {"coordinator", "/proposals?run=yes"}, {"coordinator", "/whatif"}, {"coordinator", "/demand"}, {"coordinator", "/plan?room=birch-hollow-1"}, {"coordinator", "/programmes?programme=white-shelves"}, {"coordinator", "/planning"}, {"coordinator", "/month"}, {"coordinator", "/scores"}, {"coordinator", "/feeds"},
	{"coordinator", "/slots"}, {"coordinator", "/slots?preview=yes"}, {"coordinator", "/trace"}, {"coordinator", "/trace?code=quarry-end-26-37"}, {"coordinator", "/trace?code=ab-1125-001"}, {"coordinator", "/trace?code=nothing"},
	{"coordinator", "/settings"}, {"coordinator", "/settings/farms"}, {"coordinator", "/kitchens"}, {"coordinator", "/kitchens/copper-pan"}, {"coordinator", "/sharing"}, {"coordinator", "/releaserules"},
	{"grower:alder-brook", "/push"}, {"grower:alder-brook", "/pick"}, {"grower:alder-brook", "/picked?pick=w-3"}, {"grower:alder-brook", "/rooms"}, {"grower:alder-brook", "/round"}, {"grower:alder-brook", "/cold"}, {"grower:alder-brook", "/waiting"},
	{"grower:alder-brook", "/compost"}, {"grower:alder-brook", "/climate?room=alder-brook-1&day=2026-11-25"}, {"grower:alder-brook", "/refused"}, {"grower:alder-brook", "/fan"}, {"grower:alder-brook", "/scored"}, {"grower:alder-brook", "/said?lot=alder-brook-1-white-closed-2kg-20261126"}, {"grower:alder-brook", "/share"}, {"grower:alder-brook", "/notes?day=2026-11-25"},
	{"yard_manager:quarry-end", "/slots"}, {"yard_manager:quarry-end", "/lots"}, {"yard_manager:quarry-end", "/entry?place=tunnel&lot=quarry-end-26-41"}, {"yard_manager:quarry-end", "/lots/quarry-end-26-41"}, {"yard_manager:quarry-end", "/lots/quarry-end-26-42"},
	{"yard_manager:quarry-end", "/lots/quarry-end-26-41/work"}, {"yard_manager:quarry-end", "/recipes?recipe=straw-and-litter"}, {"yard_manager:quarry-end", "/openlot"}, {"yard_manager:quarry-end", "/refused"},
	{"buyer:copper-pan", "/orders"}, {"buyer:copper-pan", "/standing"}, {"buyer:copper-pan", "/deliveries"}, {"operator", "/health"}, {"operator", "/push"},
}

// look is a width and a scheme of colours, and the rules of accessibility that a page is held to
// there: all of them on the phone by day, and at the desk by night those that depend on either.
type look struct {
	screen
	rules string
}

var looks = []look{{phone, allRules}, {screen{name: desk.name, width: desk.width, dark: true}, lookRules}}

// TestPagesLookRight keeps a screenshot of every page, on the phone by day and at the desk by night,
// and holds each to what
// a machine can see: nothing sticks out sideways, and no rule of accessibility is broken. A
// page is loaded once and looked at from all sides.
func TestPagesLookRight(t *testing.T) {
	t.Parallel()
	axe := axeCore(t)
	for _, who := range people() {
		t.Run(who, func(t *testing.T) {
			t.Parallel()
			r := open(t, phone)
			r.as(who)
			for _, p := range pages {
				if p.who != who {
					continue
				}
				r.look(phone)
				r.goTo(p.path)
				run(r, chromedp.Evaluate[int](axe+";0"))
				for _, l := range looks {
					r.look(l.screen)
					r.noSidewaysScroll(p.path)
					r.shot(l.screen, p.who, p.path)
					if l.rules != "" {
						r.noViolations(p.path, l.rules)
					}
				}
			}
		})
	}
}

// people are those who look at pages.
func people() []string {
	var all []string
	for _, p := range pages {
		if !slices.Contains(all, p.who) {
			all = append(all, p.who)
		}
	}
	return all
}

// noSidewaysScroll wants the page no wider than the screen.
func (r *rig) noSidewaysScroll(path string) {
	r.t.Helper()
	if over := run(r, chromedp.Evaluate[int](`document.documentElement.scrollWidth - document.documentElement.clientWidth`)); over > 0 {
		r.t.Errorf("%s sticks out by %d pixels", path, over)
	}
}

// keep keeps what a page looks like in a state that only comes about by doing something, by day
// and by night.
func (r *rig) keep(s screen, name string) {
	r.t.Helper()
	for _, dark := range []bool{true, false} {
		s.dark = dark
		r.look(s)
		r.write(s, name)
	}
}

// shot keeps what a page looks like.
func (r *rig) shot(s screen, who, path string) {
	r.t.Helper()
	role, _, _ := strings.Cut(who, ":")
	r.write(s, role+"_"+url.PathEscape(strings.NewReplacer("/", "_", "?", "_", "=", "-").Replace(strings.TrimPrefix(path, "/"))))
}

// write writes a picture of the whole page.
func (r *rig) write(s screen, name string) {
	r.t.Helper()
	whole, quickly := true, true
	taken := call(r, page.CaptureScreenshot, page.CaptureScreenshotParams{Format: page.CaptureScreenshotFormatPng, CaptureBeyondViewport: &whole, FromSurface: &whole, OptimizeForSpeed: &quickly})
	scheme := map[bool]string{false: "light", true: "dark"}[s.dark]
	if err := os.MkdirAll(artefacts, 0o755); err != nil {
		r.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(artefacts, name+"_"+s.name+"_"+scheme+".png"), taken.Data, 0o644); err != nil {
		r.t.Fatal(err)
	}
}
