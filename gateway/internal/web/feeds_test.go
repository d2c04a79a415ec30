package web_test

import (
	"net/http"
	"strings"
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

var notHere = fault.New(fault.Unavailable, "AWAY", "Scheduling is away.")

func TestFeedIsReadByItsAddressAlone(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/feeds").ok()
	p.says("option", "Alder Brook Farm")
	form := p.form("/feeds/create")
	if form.Get("target") != "farm:alder-brook" {
		t.Errorf("the form offers %q first", form.Get("target"))
	}
	made := r.post("/feeds/create", form).ok()
	made.says(".note", "/feeds/"+fakecoop.ID+"/"+fakecoop.FeedSecret+".ics").says("li .row", "Alder Brook Farm by Una")
	if strings.Contains(r.get("/feeds").ok().text, fakecoop.FeedSecret) {
		t.Error("the secret is shown again")
	}

	address := "/feeds/" + fakecoop.ID + "/" + fakecoop.FeedSecret + ".ics"
	stranger := &rig{t: t, coop: r.coop, url: r.url, client: http.DefaultClient, accept: "en"}
	read := stranger.get(address).ok()
	if read.text != "BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n" || read.header.Get("Content-Type") != "text/calendar; charset=utf-8" {
		t.Errorf("read %q as %s", read.text, read.header.Get("Content-Type"))
	}
	if got := read.header.Get("Content-Disposition"); got != `attachment; filename="alder-brook.ics"` {
		t.Errorf("saved by %s", got)
	}
	for _, none := range []string{"/feeds/" + fakecoop.ID + "/wrong.ics", "/feeds/" + fakecoop.ID + "/" + fakecoop.FeedSecret, "/feeds/not-a-co-op/" + fakecoop.FeedSecret + ".ics", "/feeds/" + fakecoop.ID + "/.ics"} {
		if p := stranger.get(none); p.status != http.StatusNotFound {
			t.Errorf("%s answered %d", none, p.status)
		}
	}

	r.coop.FeedType = "text/html"
	if p := stranger.get(address); p.status != http.StatusInternalServerError {
		t.Errorf("a feed that is no calendar answered %d", p.status)
	}
	r.coop.FeedType = "text/calendar"
	r.submit(r.get("/feeds"), "/feeds/revoke", nil).ok().says("li .row", "ended").without("li form.revoke")
	if p := stranger.get(address); p.status != http.StatusNotFound {
		t.Errorf("a revoked feed answered %d", p.status)
	}
}

func TestExportCrops(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/quarter/crops.csv?from=2026-11-23&to=2027-02-21").ok()
	if p.text != "crop_id,from\n2026-11-23,2027-02-21\n" || p.header.Get("Content-Type") != "text/csv; charset=utf-8" {
		t.Errorf("got %q as %s", p.text, p.header.Get("Content-Type"))
	}
	if p := r.get("/quarter/crops.csv?from=never"); p.status != http.StatusBadRequest {
		t.Errorf("a day that is none answered %d", p.status)
	}
}

// TestWordsOfServicesAreMarkedEnglish: a German page says which of its words are not German.
func TestWordsOfServicesAreMarkedEnglish(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	r.accept = "de"
	refused := r.get("/trace?code=x").ok()
	refused.without("main .alert p")
	r.coop.Fail("GetQuarter", notHere)
	if n := find(r.get("/quarter").root, "div.alert"); attr(n, "lang") != "en" {
		t.Errorf("a service's words are in %q", attr(n, "lang"))
	}
	if n := find(r.get("/tomorrow?day=never").root, "div.alert"); attr(n, "lang") != "" {
		t.Errorf("the page's own words are in %q", attr(n, "lang"))
	}
	pick := visit(t, grower)
	pick.accept = "de"
	wrong := pick.submit(pick.get("/pick").ok(), "/pick/weigh", map[string]string{"gross_grams": "10", "tare_grams": "12"})
	if n := find(wrong.root, "span.error"); n == nil || attr(n, "lang") != "en" {
		t.Error("a service's word beside a field is not marked")
	}
	wrong = pick.submit(wrong, "/pick/weigh", map[string]string{"gross_grams": "zehn"})
	if n := find(wrong.root, "span.error"); n == nil || attr(n, "lang") != "" {
		t.Error("the page's own word beside a field is marked English")
	}
}

func TestOneRoomCalendarsForTheirsOnly(t *testing.T) {
	t.Parallel()
	p := visit(t, grower).get("/feeds").ok()
	for _, o := range all(p.root, "option") {
		if strings.Contains(attr(o, "value"), "birch") || strings.HasPrefix(attr(o, "value"), "yard:") {
			t.Errorf("a grower is offered %s", attr(o, "value"))
		}
	}
	visit(t, fakecoop.Who(identity.YardManager, "quarry-end")).get("/feeds").ok().says("option", "Quarry End Yard")
}
