package web_test

import (
	"net/http"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
)

func TestWhatLotsMustProve(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	r.get("/lots").ok().says("p.actions a", "What lots must prove")
	p := r.get("/releaserules").ok()
	p.says("main", "nobody has changed them").says("legend", "pasteurisation , at least 60.0 °C").says("#c-heat-60C p", "Compost temperature, Air temperature: at least 60.0 °C, for 2 h without a break")
	p.says("#c-heat-58-62C p", "58.0 °C to 62.0 °C, for 4.014 h in all").says("fieldset p", "Nitrogen: 2.1 % to 2.3 %, at the last readings").says("p.why", "a leaflet (from memory). Others hold it longer.")
	form := p.form("/releaserules")
	for name, want := range map[string]string{
		"use.heat-60C": "yes", "low.heat-60C": "60", "high.heat-60C": "", "hours.heat-60C": "2", "probes.heat-60C": "1", "source.heat-60C": "", "use.heat-58-62C": "", "low.nitrogen-2.1-2.3": "2.1", "etag": "",
	} {
		if form.Get(name) != want {
			t.Errorf("%s begins as %q, want %q", name, form.Get(name), want)
		}
	}
	if form.Has("hours.nitrogen-2.1-2.3") {
		t.Error("a look at last readings has a time")
	}

	changed := map[string]string{"hours.heat-60C": "6,5", "probes.heat-60C": "3", "high.heat-60C": "63.5", "source.heat-60C": "our composter's advice, 2026"}
	saved := r.submit(p, "/releaserules", changed).ok()
	saved.says(".done", "Saved.").says("main", "Changed by").says("#c-heat-60C", "60.0 °C to 63.5 °C, for 6.5 h").says("#c-heat-60C b", "changed by the co-op").says("#c-heat-60C p.why", "at least 60.0 °C, for 2 h")
	if got := saved.form("/releaserules"); got.Get("source.heat-60C") != "our composter's advice, 2026" || got.Get("etag") != "v" {
		t.Errorf("the form goes on with %v", got)
	}
	want := proto.CloneOf(r.coop.MustProve)
	heat := want.GetCriteria()[0]
	if heat.GetSeconds() != 23_400 || heat.GetMinProbes() != 3 || heat.GetHighThousandths() != 63_500 || len(want.GetCriteria()) != 2 {
		t.Errorf("saved %v", want)
	}
	// What was read and sent back unchanged stays as it is.
	r.submit(saved, "/releaserules", nil).ok()
	if diff := cmp.Diff(want, r.coop.MustProve, protocmp.Transform(), protocmp.IgnoreFields(&compostlotv1.ReleaseRules{}, "etag")); diff != "" {
		t.Error(diff)
	}

	stale := r.submit(p, "/releaserules", map[string]string{"probes.heat-60C": "2", "request_id": "0190a1b2-0000-7000-8000-0000000000fd"})
	stale.says(".alert", "Somebody changed this meanwhile")
	if f := stale.form("/releaserules"); f.Get("etag") != "vv" || f.Get("probes.heat-60C") != "2" {
		t.Errorf("sent again it would be %v", f)
	}
}

func TestRulesSayWhatIsWrong(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/releaserules").ok()
	for name, c := range map[string]struct {
		typed       map[string]string
		field, says string
	}{
		"no source":     {map[string]string{"hours.heat-60C": "6"}, "source.heat-60C", "where they come from"},
		"upside down":   {map[string]string{"low.nitrogen-2.1-2.3": "3", "source.nitrogen-2.1-2.3": "x"}, "low.nitrogen-2.1-2.3", "above the upper one"},
		"one of both":   {map[string]string{"use.heat-58-62C": "yes"}, "use.heat-58-62C", "keep one"},
		"no degrees":    {map[string]string{"high.heat-60C": "hot"}, "high.heat-60C", "“hot” is no temperature"},
		"no figure":     {map[string]string{"high.nitrogen-2.1-2.3": "-1"}, "high.nitrogen-2.1-2.3", "“-1” is not a figure"},
		"no hours":      {map[string]string{"hours.heat-60C": "long"}, "hours.heat-60C", "“long” is not a figure"},
		"too long":      {map[string]string{"hours.heat-60C": "9000"}, "hours.heat-60C", "7776000"},
		"many probes":   {map[string]string{"probes.heat-60C": "101"}, "probes.heat-60C", "At most 100"},
		"not even zero": {map[string]string{"hours.heat-60C": "0"}, "hours.heat-60C", "greater than or equal to 1"},
	} {
		form := p.form("/releaserules")
		for field, typed := range c.typed {
			form.Set(field, typed)
		}
		wrong := r.post("/releaserules", form)
		if wrong.status != http.StatusBadRequest {
			t.Errorf("%s: answered %d", name, wrong.status)
		}
		wrong.says("#rules-"+c.field+"-error", c.says)
		for field, typed := range c.typed {
			if got := wrong.form("/releaserules").Get(field); got != typed {
				t.Errorf("%s: %s is %q, was typed as %q", name, field, got, typed)
			}
		}
	}
	nothing := p.form("/releaserules")
	nothing.Del("use.heat-60C")
	nothing.Del("use.nitrogen-2.1-2.3")
	none := r.post("/releaserules", nothing)
	none.says(".alert", "Tick at least one")
	if none.form("/releaserules").Has("use.heat-60C") {
		t.Error("what was unticked is ticked again")
	}
	if r.coop.MustProve.GetEtag() != "" {
		t.Errorf("refused, yet saved: %v", r.coop.MustProve)
	}
}

// 140 °F are 60 °C exactly (NIST Special Publication 811, 2008, appendix B). A time that nobody
// touched stays to the second, though the field rounds it.
func TestRulesInFahrenheit(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator, customary)
	p := r.get("/releaserules").ok().says("legend", "at least 140.0 °F").says("legend", "136.4 °F to 143.6 °F")
	form := p.form("/releaserules")
	form.Del("use.heat-60C")
	form.Set("use.heat-58-62C", "yes")
	form.Set("low.heat-58-62C", "140")
	form.Set("source.heat-58-62C", "our own trial")
	r.post("/releaserules", form).ok().says("#c-heat-58-62C legend", "140.0 °F to 143.6 °F")
	if c := r.coop.MustProve.GetCriteria()[0]; c.GetLowThousandths() != 60_000 || c.GetHighThousandths() != 62_000 || c.GetSeconds() != 14_450 {
		t.Errorf("kept are %v", c)
	}
}

// Who may not change the rules sees them without a button; phase one has rules of its own.
func TestRulesForOthers(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/releaserules?phase=one").ok().says("legend", "nitrogen").without("#c-heat-60C")
	for _, b := range all(p.root, "button") {
		if words(b) == "Save what lots must prove" {
			t.Error("a yard may change what its lots must prove")
		}
	}
	if got := p.form("/releaserules").Get("phase"); got != "one" {
		t.Errorf("the form is of phase %s", got)
	}
	r.be(coordinator)
	r.submit(r.get("/releaserules?phase=one").ok(), "/releaserules", nil).ok()
	if r.coop.MustProve.GetPhase() != typev1.CompostPhase_COMPOST_PHASE_ONE {
		t.Errorf("saved for %s", r.coop.MustProve.GetPhase())
	}
}
