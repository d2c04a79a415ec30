package web_test

import (
	"net/http"
	"strings"
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

const (
	likely = "likely.alder-brook-1.white-closed-2kg"
	low    = "low.alder-brook-1.white-closed-2kg"
	high   = "high.alder-brook-1.white-closed-2kg"
)

var grower = fakecoop.Who(identity.Grower, "alder-brook")

// pushed is the newest figure of the room and product of these tests for tomorrow.
func pushed(coop *fakecoop.Coop) *harvestv1.ExpectedPick {
	for _, e := range coop.Expected {
		if e.GetRoomId() == "alder-brook-1" && e.GetProductId() == "white-closed-2kg" && e.GetDate() == fakecoop.Tomorrow {
			return e
		}
	}
	return nil
}

func TestPushStartsFromTheLastOne(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/push").ok()
	p.says("h1", "Thursday 26 November").says(".pushrow", "As on Tue 24 Nov. Not pushed yet.").says("#resting", "Not picking").says("main ul li", "House 3 : Spawn run until Wed 9 Dec")
	form := p.form("/push")
	if form.Get(low) != "60" || form.Get(likely) != "72.5" || form.Get(high) != "85" {
		t.Errorf("the form starts from %v", form)
	}
	if _, other := form["likely.birch-hollow-1.oyster-1kg"]; other {
		t.Error("another farm's room is in the form")
	}
	p.says(".pushrow", "On Tue 24 Nov you said 72.5 kg and picked 70.0 kg.").says(".pushrow", "The forecast’s figures. Not pushed yet.")
	if got := form.Get("likely.alder-brook-2.brown-closed-2kg"); got != "38.4" {
		t.Errorf("the forecast's figure is %q", got)
	}
	done := r.submit(p, "/push", map[string]string{likely: "80", high: "90,5"}).ok()
	done.says(".done", "2 figures pushed").says(".pushrow", "Pushed already by Una")
	if e := pushed(r.coop); e.GetLikelyGrams() != 80_000 || e.GetHighGrams() != 90_500 || e.GetLowGrams() != 60_000 {
		t.Errorf("pushed %v", e)
	}
}

func TestPushTwiceDoesItOnce(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/push")
	for range 2 {
		r.submit(p, "/push", map[string]string{likely: "80"}).ok()
	}
	if e := pushed(r.coop); e.GetVersion() != 1 {
		t.Errorf("one form sent twice made version %d", e.GetVersion())
	}
}

func TestPushErrorsStandBesideTheFieldAndKeepWhatWasTyped(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/push")
	for name, c := range map[string]struct {
		typed map[string]string
		field string
		says  string
	}{
		"not a weight":     {map[string]string{likely: "lots"}, likely, "not a weight"},
		"a figure missing": {map[string]string{high: ""}, high, "Give least, likely and most."},
		"the service's":    {map[string]string{low: "99"}, low, "must rise"},
	} {
		refused := r.submit(p, "/push", c.typed)
		if refused.status != http.StatusBadRequest {
			t.Errorf("%s: answered %d", name, refused.status)
		}
		refused.says(".alert", "One field needs mending").says("#p-"+c.field+"-error", c.says)
		field := find(refused.root, "#p-"+c.field)
		if field == nil || attr(field, "aria-invalid") != "true" || attr(field, "aria-describedby") != "p-"+c.field+"-error" {
			t.Errorf("%s: the field does not say that it is wrong", name)
		}
		form := refused.form("/push")
		for k, v := range c.typed {
			if form.Get(k) != v {
				t.Errorf("%s: %s was typed as %q and is %q now", name, k, v, form.Get(k))
			}
		}
		if form.Get("request_id") != p.form("/push").Get("request_id") {
			t.Errorf("%s: the request id changed over a refusal", name)
		}
	}
	if pushed(r.coop) != nil {
		t.Error("something was pushed")
	}
}

func TestPushShowsAConflictAndWritesNothingOver(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	mine := r.get("/push")
	theirs := r.get("/push")
	r.submit(theirs, "/push", map[string]string{likely: "70"}).ok()
	conflict := r.submit(mine, "/push", map[string]string{likely: "80"})
	if conflict.status != http.StatusConflict {
		t.Fatalf("answered %d", conflict.status)
	}
	conflict.says(".alert", "Somebody changed this meanwhile.").says(".both", "Theirs: 60.0 – 70.0 – 85.0 kg by Una").says(".both", "Mine")
	if e := pushed(r.coop); e.GetLikelyGrams() != 70_000 {
		t.Errorf("written over: %v", e)
	}
	form := conflict.form("/push")
	if got := form.Get(likely); got != "80" {
		t.Errorf("what was typed is %q now", got)
	}
	if again := r.post("/push", form); again.status != http.StatusConflict {
		t.Errorf("without a choice it answered %d", again.status)
	}
	choice := attr(all(conflict.root, ".both input")[1], "value")
	form.Set("choose.alder-brook-1.white-closed-2kg", choice)
	r.post("/push", form).ok()
	if e := pushed(r.coop); e.GetLikelyGrams() != 80_000 || e.GetVersion() != 2 {
		t.Errorf("mine, with their version: %v", e)
	}
}

func TestTheirsHoldWhereChosen(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	mine, theirs := r.get("/push"), r.get("/push")
	r.submit(theirs, "/push", map[string]string{likely: "70"}).ok()
	form := r.submit(mine, "/push", map[string]string{likely: "80"}).form("/push")
	form.Set("choose.alder-brook-1.white-closed-2kg", "theirs")
	r.post("/push", form).ok()
	if e := pushed(r.coop); e.GetLikelyGrams() != 70_000 || e.GetVersion() != 1 {
		t.Errorf("theirs were to hold: %v", e)
	}
}

func TestPushAfterTheCutOffSaysSo(t *testing.T) {
	t.Parallel()
	r := visit(t, grower, func(c *fakecoop.Coop) { c.AfterCutOff = true })
	r.submit(r.get("/push"), "/push", nil).ok().says(".caution", "2 figures came after the cut-off")
}

func TestPushNothing(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	refused := r.submit(r.get("/push"), "/push", map[string]string{low: "", likely: " ", high: ""})
	if refused.status != http.StatusBadRequest {
		t.Errorf("answered %d", refused.status)
	}
	const brown = "alder-brook-2.brown-closed-2kg"
	refused = r.submit(r.get("/push"), "/push", map[string]string{low: "", likely: "", high: "", "low." + brown: "", "likely." + brown: "", "high." + brown: ""})
	refused.says(".alert", "No figure was filled in.")
}

func TestPushWhenAServiceIsDownCanBeRepeated(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/push")
	r.coop.Fail("PushExpectedPicks", fault.New(fault.Unavailable, "DOWN", "Harvest cannot be reached; try again."))
	down := r.submit(p, "/push", map[string]string{likely: "80"})
	if down.status != http.StatusServiceUnavailable {
		t.Errorf("answered %d", down.status)
	}
	down.says(".alert", "Harvest cannot be reached")
	r.coop.Fail("PushExpectedPicks", nil)
	r.submit(down, "/push", nil).ok().says(".done", "2 figures pushed")
}

func TestPushOfAnEmptyFarmSaysWhatToDo(t *testing.T) {
	t.Parallel()
	r := visit(t, grower, func(c *fakecoop.Coop) { c.Crops, c.Rooms = nil, nil })
	r.get("/push").ok().says("main", "None of your rooms bears on this day: look at another day.")
	r.get("/rooms").ok().says("main", "ask the office to add it")
}

func TestGermanReadsAndWritesItsOwnFigures(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	r.accept = "de"
	p := r.get("/push").ok()
	if got := p.form("/push").Get(likely); got != "72,5" {
		t.Errorf("likely is %q", got)
	}
	p.says("h1", "Donnerstag, 26. November")
	if again := r.submit(p, "/push", nil); again.status != http.StatusOK || !strings.Contains(again.text, "2 Zahlen gemeldet.") {
		t.Errorf("answered %d", again.status)
	}
}
