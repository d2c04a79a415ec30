package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

var (
	coordinator = fakecoop.Who(identity.Coordinator, "")
	manager     = fakecoop.Who(identity.YardManager, "quarry-end")
	buyer       = fakecoop.Who(identity.Buyer, "copper-pan")
)

func TestStartLeadsEachPersonToTheirDay(t *testing.T) {
	t.Parallel()
	r := visit(t, identity.Identity{})
	start := r.get("/").ok()
	start.says("h1", "Stillwater Growers").says(".choices", "Alder Brook Farm")
	for as, want := range map[string]string{
		"coordinator": "/tomorrow", "grower:alder-brook": "/push", "yard_manager:quarry-end": "/slots", "buyer:copper-pan": "/orders", "operator": "/health",
	} {
		p := r.post("/start", url.Values{"as": {as}, "name": {"Una"}}).ok()
		if p.path != want {
			t.Errorf("%s is led to %s, want %s", as, p.path, want)
		}
		p.says(".who", "Una")
		if home := r.get("/").ok(); home.path != want {
			t.Errorf("%s's home is %s, want %s", as, home.path, want)
		}
	}
	for name, values := range map[string]url.Values{
		"nobody": {"as": {""}}, "a service": {"as": {"service"}}, "a grower of nothing": {"as": {"grower:"}}, "a long name": {"as": {"operator"}, "name": {strings.Repeat("x", 10_000)}},
	} {
		if p := r.post("/start", values); p.status != http.StatusBadRequest {
			t.Errorf("%s: answered %d", name, p.status)
		}
	}
}

func TestLanguageIsRememberedAndLeadsNowhereElse(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.post("/language", url.Values{"language": {"de"}, "back": {"/tomorrow?day=2026-11-26"}}).ok()
	if p.path != "/tomorrow?day=2026-11-26" || attr(find(p.root, "html"), "lang") != "de" {
		t.Errorf("at %s in %s", p.path, attr(find(p.root, "html"), "lang"))
	}
	for _, back := range []string{"https://evil.example/", "//evil.example/", "/\\evil.example", "\\\\evil.example", "javascript:alert(1)", "http:evil", "", "/%zz"} {
		if p := r.post("/language", url.Values{"language": {"en"}, "back": {back}}); p.status != http.StatusOK || p.path != "/tomorrow" {
			t.Errorf("back to %q led to %s with %d", back, p.path, p.status)
		}
	}
}

func TestTomorrow(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/tomorrow").ok()
	p.says(".lead", "60 of 84 packs ordered are matched").says("li.short", "Harbour Light White closed cups, 2 kg 6 of 30 packs, 24 short").
		says("li.short .why", "went to customers of a higher class").says(".products li", "36 offered · 60 ordered · 24 short · between 30 and 42 may come").
		says("table tr", "Oyster clusters, 1 kg Nobody ordered more of it. 16 16.0").says("#t-farms tr", "Alder Brook Farm 36 36").says("#t-packs tr", "alder-brook-1-white-closed-2kg-20261126")
	r.get("/tomorrow?farm=alder-brook").ok().says("#packs", "What it packs: Alder Brook Farm")
	if first := words(find(p.root, "ul.products li")); !strings.HasPrefix(first, "White closed cups") {
		t.Errorf("the first product is %q, want the short one", first)
	}
	confirmed := r.submit(p, "/tomorrow/confirm", nil).ok()
	confirmed.says(".state", "Confirmed by Una.")
	for _, f := range all(confirmed.root, "form") {
		if attr(f, "action") == "/tomorrow/confirm" {
			t.Error("a confirmed match can be confirmed again")
		}
	}
}

func TestTomorrowConfirmedMeanwhile(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/tomorrow")
	r.coop.Match.Etag, r.coop.Match.State, r.coop.Match.ConfirmedBy = "7", orderv1.MatchState_MATCH_STATE_CONFIRMED, "Piotr"
	stale := r.submit(p, "/tomorrow/confirm", nil)
	if stale.status != http.StatusConflict {
		t.Errorf("answered %d", stale.status)
	}
	stale.says(".alert", "Somebody changed this meanwhile.").says(".alert", "confirmed by Piotr at 13:20").says(".state", "Confirmed by Piotr.")
}

func TestTomorrowWithoutAMatch(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator, func(c *fakecoop.Coop) { c.Match = nil })
	p := r.get("/tomorrow").ok()
	p.says("main", "No match has been run for this day.").says("main", "Farms expect to pick 2 products.").without("table")
	r.coop.Fail("RunMatch", fault.New(fault.Precondition, "NO_ORDERS", "Nobody ordered anything for 2026-11-26."))
	r.submit(p, "/tomorrow/run", nil).says(".alert", "Nobody ordered anything")
}

func TestOneForTheirsOnly(t *testing.T) {
	t.Parallel()
	r := visit(t, fakecoop.Who(identity.Operator, ""))
	if p := r.get("/push"); p.status != http.StatusForbidden {
		t.Errorf("an operator's push answered %d", p.status)
	}
	r.coop.Fail("GetMatch", fault.New(fault.Forbidden, "ROLE", "an operator may not do that"))
	p := r.get("/tomorrow")
	if p.status != http.StatusForbidden {
		t.Errorf("answered %d", p.status)
	}
	p.says("main", "not for the person you are now")
}

func TestServicesDown(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	r.coop.Fail("GetSupply", fault.New(fault.Unavailable, "", ""))
	if p := r.get("/tomorrow"); p.status != http.StatusServiceUnavailable {
		t.Errorf("answered %d", p.status)
	} else {
		p.says("main", "Load this page again in a moment")
	}
	r.coop.Fail("GetCoop", fault.New(fault.Internal, "", "secret of the database"))
	if p := r.get("/quarter"); p.status != http.StatusInternalServerError || strings.Contains(p.text, "secret") {
		t.Errorf("answered %d: %s", p.status, p.text)
	}
	r.get("/health").ok().says(".rows li", "Orders and match order ✓ well")
}

func TestAddressesThatAreNone(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	for path, status := range map[string]int{
		"/nowhere": 404, "/tomorrow?day=soon": 400, "/tomorrow?day=2026-02-30": 400, "/quarter?from=x": 400, "/slots?from=2026-13-01": 400,
		"/lots/no-such-lot": 404, "/trace?code=" + strings.Repeat("x", 500): 400, "/static/": 200, "/static/no.css": 404,
	} {
		if p := r.get(path); p.status != status {
			t.Errorf("%s answered %d, want %d", path, p.status, status)
		}
	}
}

func TestPickAndWeighAndSend(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/pick").ok()
	p.says("h1", "Pick for Thursday 26 November").says("section.card", "30 packs White closed cups, 2 kg The Copper Pan · 60.0 kg").says("summary", "0.0 of 72.0 kg")
	wrong := r.submit(p, "/pick/weigh", map[string]string{"gross_grams": "10", "tare_grams": "12", "crates": "2"})
	if wrong.status != http.StatusBadRequest {
		t.Errorf("answered %d", wrong.status)
	}
	wrong.says("span.error", "less than the gross weight")
	if form := wrong.form("/pick/weigh"); form.Get("gross_grams") != "10" || form.Get("crates") != "2" {
		t.Errorf("typed figures are gone: %v", form)
	}
	for range 2 {
		weighed := r.submit(wrong, "/pick/weigh", map[string]string{"gross_grams": "78.5", "tare_grams": "6", "break_number": "2"}).ok()
		weighed.says(".done", "Weighed in").says("summary", "✓ 72.5 of 72.0 kg")
	}
	if len(r.coop.Picks) != 1 || r.coop.Picks[0].GetBreakNumber() != 2 || r.coop.Picks[0].GetPicker() != "Una" {
		t.Errorf("picks %v, want one", r.coop.Picks)
	}
	r.submit(p, "/pick/dispatch", nil).ok().says(".note", "The Copper Pan White closed cups, 2 kg 30 of 30 ab-1126-001–030")
	r.submit(r.get("/pick"), "/pick/dispatch", nil).ok().says(".done", "Nothing was sent").without(".note")
	r.get("/pick?day=2026-12-24").ok().says("main", "The list stands here as soon as the office confirms it.")
}

func TestRooms(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/rooms").ok()
	p.says("section.card", "House 1 240 m² · white mushroom Now Cropping since Sun 15 Nov Next Cook-out on Sun 20 Dec").says("#asked", "Compost asked for").says(".caution", "Local codes and licensed practice decide")
	stale := p.form("/rooms/stage")
	stale.Set("etag", "0")
	conflict := r.post("/rooms/stage", stale)
	if conflict.status != http.StatusConflict {
		t.Errorf("answered %d", conflict.status)
	}
	conflict.says(".alert", "was changed by Piotr at 13:20")
	form := p.form("/rooms/stage")
	form.Set("kind", "STAGE_KIND_COOK_OUT")
	r.post("/rooms/stage", form).ok().says(".done", "Recorded.")
	for _, s := range r.coop.Crops[0].GetStages() {
		if s.GetKind().String() == "STAGE_KIND_COOK_OUT" && s.GetActualStartDate() != fakecoop.Today {
			t.Errorf("recorded %v", s)
		}
	}
	form.Set("kind", "STAGE_KIND_UNSPECIFIED")
	if p := r.post("/rooms/stage", form); p.status != http.StatusBadRequest {
		t.Errorf("no stage answered %d", p.status)
	}
	ask := p.form("/rooms/compost")
	ask.Set("wanted_kg", "21.5")
	r.post("/rooms/compost", ask).says("span.error", "not a whole number")
	ask.Set("wanted_kg", "21000")
	r.post("/rooms/compost", ask).ok().says(".done", "Asked.").says("li", "House 1 Sun 27 Dec – Sun 3 Jan 21.0 t asked")
}

func TestSlots(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/slots").ok()
	p.says("li", "Mon 7 Dec Quarry End Yard · phase II 40.0 of 40.0 t free").says("li", "160.00 EUR a tonne").says("li", "Alder Brook Farm House 3 · Mon 7 Dec – Wed 9 Dec 30.0 t asked")
	preview := r.get("/slots?preview=yes").ok()
	preview.says(".note", "Nothing is granted until you confirm.").says(".note li", "Alder Brook Farm House 3 · Mon 7 Dec – Wed 9 Dec 22.0 of 30.0 t")
	if len(r.coop.Shares) != 0 {
		t.Error("a preview granted shares")
	}
	r.submit(preview, "/slots/confirm", nil).ok().says(".done", "Shared out.").says("li", "22.0 of 30.0 t Every slot inside the window is full.")
	if r.coop.Slots[1].GetState() != compostlotv1.SlotState_SLOT_STATE_SHARED {
		t.Error("nothing was shared out")
	}
}

func TestPublish(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/slots").ok()
	typed := map[string]string{"slot_id": "quarry-end-20261207", "ready_date": "2026-12-21", "capacity_kg": "38000", "price_minor_per_tonne": "165,50", "request_cutoff": "2026-12-10"}
	r.submit(p, "/slots/publish", typed).says("#publish-slot_id-error", "is published already")
	typed["slot_id"] = "quarry-end-20261221"
	published := r.submit(p, "/slots/publish", typed).ok()
	published.says(".done", "Published.").says("li", "Requests until Thu 10 Dec 23:59 · 165.50 EUR a tonne")
	typed["price_minor_per_tonne"] = "1.005"
	r.submit(published, "/slots/publish", typed).says("span.error", "not an amount of money")
	if s := r.coop.Slots[len(r.coop.Slots)-1]; s.GetYardId() != "quarry-end" || s.GetPriceMinorPerTonne() != 16550 {
		t.Errorf("published %v", s)
	}
}

func TestReleaseOnEvidenceOnly(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	r.get("/lots").ok().says("tr", "quarry-end-26-41 Being made 40.0 40.0 Tue 3 Nov phase II Quarry End Yard")
	p := r.get("/lots/quarry-end-26-42").ok()
	p.says(".caution", "never go in alone").says("li.not_proven", "? Not proven No reading after cooling").says("main", "A named person decides")
	refused := r.submit(p, "/lots/quarry-end-26-42/release", nil)
	if refused.status != http.StatusBadRequest {
		t.Errorf("answered %d", refused.status)
	}
	refused.says(".alert", "Ammonia is not proven.")
	exception := r.submit(refused, "/lots/quarry-end-26-42/release", map[string]string{"exception_reason": "Meter broke; smelt by Hugh & Una."}).ok()
	exception.says(".lead", "Released by Una").says("p.alert", "Released as an exception: Meter broke; smelt by Hugh & Una.")
	stale := r.submit(p, "/lots/quarry-end-26-42/release", map[string]string{"exception_reason": "Another reason"})
	if stale.status != http.StatusConflict {
		t.Errorf("releasing again from an old page answered %d", stale.status)
	}
}

func TestReleaseHoldDeliver(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	released := r.submit(r.get("/lots/quarry-end-26-41").ok(), "/lots/quarry-end-26-41/release", nil).ok()
	released.says(".lead", "Released by Una")
	r.submit(released, "/lots/quarry-end-26-41/deliver", map[string]string{"delivered_kg": "99000"}).says("span.error", "only 40000 kg are left")
	for range 2 {
		r.submit(released, "/lots/quarry-end-26-41/deliver", map[string]string{"delivered_kg": "22000", "room": "birch-hollow/birch-hollow-1"}).ok()
	}
	delivered := r.get("/lots/quarry-end-26-41").ok()
	delivered.says("table tr", "Birch Hollow birch-hollow-1 Wed 25 Nov 22 000").says("dd", "18.0 of 40.0 t left")
	r.submit(delivered, "/lots/quarry-end-26-41/hold", map[string]string{"reason": "Flies <in> it"}).ok().says(".lead", "Held").says("p.alert", "Held: Flies <in> it")
}

func TestOrders(t *testing.T) {
	t.Parallel()
	r := visit(t, buyer)
	p := r.get("/orders").ok()
	p.says("#d-2026-11-26", "2 h 0 min left 12 packs Oyster clusters, 1 kg 30 packs White closed cups, 2 kg").says("#d-2026-11-28", "Nothing ordered.")
	late := fields(find(find(r.get("/orders").root, "#d-2026-11-26"), "form"))
	form := fields(find(find(p.root, "#d-2026-11-26"), "form"))
	form.Set("packs.oyster-1kg", "1,5")
	r.post("/orders/save", form).says("#d-2026-11-26 span.error", "not a whole number")
	form.Set("packs.oyster-1kg", "0")
	form.Set("packs.white-open-3kg", "4")
	for range 2 {
		r.post("/orders/save", form).ok().says(".done", "Saved.").says("#d-2026-11-26", "30 packs White closed cups, 2 kg 4 packs White opens, 3 kg")
	}
	if v := r.coop.Orders[1].GetVersion(); v != 2 {
		t.Errorf("one form sent twice made version %d", v)
	}
	form.Set("packs.oyster-1kg", "5")
	r.post("/orders/save", form).says(".alert", "This form was sent before with other figures")
	late.Set("packs.oyster-1kg", "99")
	conflict := r.post("/orders/save", late)
	if conflict.status != http.StatusConflict {
		t.Errorf("an old page answered %d", conflict.status)
	}
	conflict.says(".alert", "was changed by the office")
	if again := fields(find(find(conflict.root, "#d-2026-11-26"), "form")); again.Get("packs.oyster-1kg") != "99" || again.Get("etag") != "2" {
		t.Errorf("the form says %v, want what was typed and the new etag", again)
	}
	saturday := fields(find(find(p.root, "#d-2026-11-28"), "form"))
	r.post("/orders/save", saturday).says(".alert", "No packs were filled in.")
	saturday.Set("packs.oyster-1kg", "3")
	saturday.Set("least.oyster-1kg", "2")
	r.post("/orders/save", saturday).ok().says("#d-2026-11-28", "3 packs Oyster clusters, 1 kg at least 2, else none")
}

func TestQuarter(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/quarter").ok()
	p.says("h1", "Mon 23 Nov to Sun 21 Feb").says("#t-steps tr", "House 3 Cropping Sun 27 Dec Sat 30 Jan").says("#t-empty-days tr", "House 3")
	p.says(".balance h3", "white mushroom , closed 200.0 kg missing").says("#t-weeks tr", "Mon 30 Nov white mushroom, closed 300.0 0.0 500.0 200.0 –").says("#t-weeks tr", "Mon 7 Dec white mushroom, closed 600.0 0.0 450.0 – 150.0")
	if d := attr(find(p.root, "path.gap"), "d"); d != "M40 50h30v-33h-30z" {
		t.Errorf("the gap is drawn %q, want it on top of what stands, up to the demand", d)
	}
	p.says("li.short", "House 2 alder-brook-2-20261003 · alder-brook-2-20261228 Mon 28 Dec – Tue 29 Dec Least move that frees it: alder-brook-2-20261228 by 2 days.")
	p.says("li.short", "Alder Brook Farm , House 3 Spawning expected Tue 24 Nov, 1 day ago")
	if n := len(all(p.root, "div.lane svg")); n != 5 {
		t.Errorf("%d lanes, want four rooms and the weeks", n)
	}
	none := visit(t, coordinator, func(c *fakecoop.Coop) { c.Rooms, c.Crops = nil, nil })
	none.get("/quarter").ok().says("main", "No rooms are known yet")
}

func TestScores(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/scores").ok()
	p.says("tr", "All farms Growers said 12 2.4 6.1 71").says("tr", "The forecast said 12 −0.3 4.9 83").says("tr", "Alder Brook Farm Growers said 12 1.9 5.2 75")
	p.says("li", "Alder Brook Farm 1 700 of 2 000 packs offered were sold · 40 packs ahead of its fair part").says("li", "Birch Hollow 770 of 1 000 packs offered were sold · 40 packs behind its fair part")
	if n := len(all(p.root, "tbody tr")); n != 5 {
		t.Errorf("%d rows, want the farms' own only", n)
	}
	r.coop.Scores = nil
	r.get("/scores").ok().says("main", "No figure has been scored yet")
}

// TestStandInsAreNoPush: what the forecast put in for a farm that had not pushed is replaced
// by the farm's own figure without a conflict.
func TestStandInsAreNoPush(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/push")
	r.coop.Expected = append(r.coop.Expected, &harvestv1.ExpectedPick{
		RoomId: "alder-brook-1", FarmId: "alder-brook", ProductId: "white-closed-2kg", Date: fakecoop.Tomorrow, LowGrams: 1, LikelyGrams: 2, HighGrams: 3, Version: 1,
		Source: harvestv1.ExpectedPickSource_EXPECTED_PICK_SOURCE_FORECAST,
	})
	r.get("/push").ok().says(".pushrow", "Not pushed yet.")
	r.submit(p, "/push", nil).ok().says(".done", "2 figures pushed")
	if e := pushed(r.coop); e.GetLikelyGrams() != 72_500 || e.GetVersion() != 2 {
		t.Errorf("pushed %v", e)
	}
}
