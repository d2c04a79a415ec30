package web_test

import (
	"net/url"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"breakshare.example/gateway/internal/fakecoop"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

// customary has the co-op weigh in pounds and read degrees Fahrenheit.
func customary(c *fakecoop.Coop) {
	c.Settings.MassUnit, c.Settings.TemperatureUnit = schedulingv1.MassUnit_MASS_UNIT_POUND, schedulingv1.TemperatureUnit_TEMPERATURE_UNIT_FAHRENHEIT
}

func TestPagesShowTheCoopsUnits(t *testing.T) {
	t.Parallel()
	r := visit(t, manager, customary)
	r.get("/lots/quarry-end-26-42").ok().says("figcaption", "°F").says("dl.facts", "short tons")
	for path, who := range places() {
		if path == "/start" || path == "/health" || path == "/settings" { // which names units, and products in its labels

			continue
		}
		t.Run(path, func(t *testing.T) {
			inner := r.in(t)
			inner.be(who)
			text := own(find(inner.get(path).ok().root, "main"))
			for _, other := range []string{"kg", "°C"} {
				if i := strings.Index(text, other); i >= 0 {
					t.Errorf("the page says%s: %s", other, text[max(0, i-60):min(len(text), i+60)])
				}
			}
		})
	}
}

// own is the text of the pages themselves: neither names nor what services say.
func own(n *html.Node) string {
	if n.Type == html.TextNode {
		return n.Data + " "
	}
	if n.Data == "bdi" || n.Data == "select" || attr(n, "lang") == "en" || matches(n, ".top") || matches(n, ".code") || matches(n, ".quantities") {
		return ""
	}
	var b strings.Builder
	for c := range n.ChildNodes() {
		b.WriteString(own(c))
	}
	return b.String()
}

// A pound is 453.59237 g (NIST Special Publication 811, 2008).
func TestPoundsArriveAsGrams(t *testing.T) {
	t.Parallel()
	r := visit(t, grower, customary)
	p := r.get("/push").ok().says(".pushrow label", "lb")
	var likely string
	values := p.form("/push")
	for name := range values {
		if strings.HasPrefix(name, "likely.alder-brook-1.") {
			likely = strings.TrimPrefix(name, "likely.")
		}
		if strings.HasPrefix(name, "likely.") || strings.HasPrefix(name, "low.") || strings.HasPrefix(name, "high.") {
			values[name] = []string{""}
		}
	}
	values["low."+likely], values["likely."+likely], values["high."+likely] = []string{"10"}, []string{"12.5"}, []string{"100"}
	p = r.post("/push", url.Values(values)).ok()
	if !strings.Contains(p.text, `value="12.5"`) {
		t.Error("12.5 lb are not shown again")
	}
	room, product, _ := strings.Cut(likely, ".")
	for _, e := range r.coop.Expected {
		if e.GetRoomId() == room && e.GetProductId() == product && e.GetDate() == fakecoop.Tomorrow {
			if e.GetLowGrams() != 4_536 || e.GetLikelyGrams() != 5_670 || e.GetHighGrams() != 45_359 {
				t.Errorf("10, 12.5 and 100 lb arrived as %v", e)
			}
			return
		}
	}
	t.Error("nothing arrived")
}
