package web_test

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/url"
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// upload sends a form with a photo, as a browser does.
func (r *rig) upload(path string, values url.Values, photo []byte) *page {
	r.t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for name, all := range values {
		for _, value := range all {
			if err := w.WriteField(name, value); err != nil {
				r.t.Fatal(err)
			}
		}
	}
	part, err := w.CreateFormFile("photo", "photo.png")
	if err != nil {
		r.t.Fatal(err)
	}
	part.Write(photo)
	w.Close()
	req, err := http.NewRequest(http.MethodPost, r.url+path, &body)
	if err != nil {
		r.t.Fatal(err)
	}
	req.Header.Set("Content-Type", w.FormDataContentType())
	return r.do(req)
}

func TestRoomRound(t *testing.T) {
	t.Parallel()
	p := visit(t, grower).get("/round").ok()
	p.says("h1", "Room round, Wednesday 25 November").says(".visits li", "House 3 Number 1 by age.").says(".visits li", "House 1 ⚠ disease or pest break 2").says("main", "Nothing is reported.")
	if n := len(all(p.root, ".caution")); n != 1 {
		t.Errorf("%d cautions, want each once", n)
	}
}

func TestIncidentWithPhoto(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/round").ok()
	form := p.form("/round/report")
	form.Del("photo")
	form.Set("larvae", "3")
	form.Set("note", "near the door")
	form.Set("hold_lots", "yes")
	picture := append([]byte("\x89PNG\r\n"), bytes.Repeat([]byte{1}, 1000)...)

	wrong := r.upload("/round/report", form, picture)
	wrong.says("span.error", "how heavy the sample was")
	if kept := wrong.form("/round/report"); kept.Get("note") != "near the door" || kept.Get("hold_lots") != "yes" {
		t.Errorf("what was typed is gone: %v", kept)
	}
	form.Set("sample_grams", "125")
	if p := r.upload("/round/report", form, bytes.Repeat([]byte("x"), 2<<20+1)); p.status != http.StatusBadRequest {
		t.Errorf("a huge photo answered %d", p.status)
	} else {
		p.says(".alert", "larger than 2 MB")
	}
	r.upload("/round/report", form, []byte("<script>")).says(".alert", "is no JPEG, PNG or WebP")
	for range 2 {
		r.upload("/round/report", form, picture).ok().says(".done", "Reported.").says("li.short", "sciarid flies by Una · Wed 25 Nov 14:00 lots of the room are held · above the threshold: control pays near the door")
	}
	if len(r.coop.Incidents) != 1 || r.coop.Incidents[0].GetCounts()[0].GetSampleGrams() != 125 || !bytes.Equal(r.coop.Photo, picture) {
		t.Fatalf("incidents %v", r.coop.Incidents)
	}
	shown := r.get("/round").ok()
	photo := r.get(attr(find(shown.root, "img.photo"), "src")).ok()
	if photo.header.Get("Content-Type") != "image/png" || photo.text != string(picture) {
		t.Errorf("the photo came as %s", photo.header.Get("Content-Type"))
	}
	r.coop.PhotoType = "text/html"
	if p := r.get("/round/photo/incident-1"); p.status != http.StatusInternalServerError {
		t.Errorf("a photo that is none answered %d", p.status)
	}
	r.submit(shown, "/round/close", map[string]string{"outcome": "traps set"}).ok().says(".done", "Closed.").says("main", "Nothing is reported.")
}

func TestIncidentWithoutAPhotoOrACount(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	r.submit(r.get("/round"), "/round/report", map[string]string{"note": "web on caps"}).ok().says("li.short", "no threshold to compare with")
	if one := r.coop.Incidents[0]; len(one.GetCounts()) != 0 || one.GetHoldLots() || one.GetVerdict() != harvestv1.IncidentVerdict_INCIDENT_VERDICT_UNSPECIFIED {
		t.Errorf("reported %v", one)
	}
	if p := r.get("/round/photo/incident-1"); p.status != http.StatusNotFound {
		t.Errorf("no photo answered %d", p.status)
	}
}

func TestColdStock(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/cold").ok()
	p.says("li.short", "Cold room 8.4 °C · Wed 25 Nov 12:00 ⚠ too warm Warmer than 7.2 °C since 11:00").says("li.short", "White closed cups, 2 kg House 1 · Cold room 12.0 kg picked 30 hours ago · keeps for 20 hours").
		says("li", "keeps for 90 hours (temperature not read, 7.2 °C assumed)").says("li", "how long it keeps is not known")
	r.coop.NoStock = true
	r.get("/cold").ok().says("main", "Nothing is in stock: what is weighed in lies here")
}

func TestAdviceToEndACrop(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/rooms").ok()
	p.says("details.advice", "Advice: clear the room close: low and high forecasts differ A fresh cycle earns more").says("details.advice", "Waiting costs money from Thu 3 Dec and then a day 14.00 EUR").
		says("details.advice", "−5.00 EUR · 98.00 EUR · 140.00 EUR").says("section.card", "No costs are saved for its programme.")
	r.coop.Fail("AdviseEnd", fault.New(fault.Unavailable, "AWAY", "Away."))
	r.get("/rooms").ok().says("main", "not to be had just now").says("section.card", "Record what began").without("details.advice")
}

func TestLotReportIsAFile(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/lots/quarry-end-26-41/report.pdf").ok()
	if p.text != "%PDF-1.7" || p.header.Get("Content-Type") != "application/pdf" || p.header.Get("Content-Disposition") != `attachment; filename="quarry-end-26-41.pdf"` {
		t.Errorf("got %q as %s", p.text, p.header.Get("Content-Type"))
	}
	if p := r.get("/lots/nothing/report.pdf"); p.status != http.StatusNotFound {
		t.Errorf("the report of no lot answered %d", p.status)
	}
}

func TestLargeFiguresCanBeConfirmed(t *testing.T) {
	t.Parallel()
	r := visit(t, fakecoop.Who(identity.Grower, "alder-brook"))
	p := r.get("/push").ok().without("form.push label.tick")
	key := "alder-brook-1.white-closed-2kg"
	refused := r.submit(p, "/push", map[string]string{"high." + key: "5000"})
	refused.says("span.error", "more than the room can bear").says("label.tick", "These figures are right")
	form := refused.form("/push")
	form.Set("confirm_large", "yes")
	r.post("/push", form).ok().says(".done", "pushed")
	if got := pushed(r.coop).GetHighGrams(); got != 5_000_000 {
		t.Errorf("pushed %d g", got)
	}
}
