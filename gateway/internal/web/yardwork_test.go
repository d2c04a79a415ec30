package web_test

import (
	"bytes"
	"fmt"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// sendFile sends the form of an action with a file, as a browser does.
func (r *rig) sendFile(p *page, action, text string) *page {
	r.t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for name, values := range p.form(action) {
		if name != "file" {
			if err := w.WriteField(name, values[0]); err != nil {
				r.t.Fatal(err)
			}
		}
	}
	if text != "" {
		part, err := w.CreateFormFile("file", "rows.csv")
		if err == nil {
			_, err = part.Write([]byte(text))
		}
		if err != nil {
			r.t.Fatal(err)
		}
	}
	w.Close()
	req, err := http.NewRequest(http.MethodPost, r.url+action, &body)
	if err != nil {
		r.t.Fatal(err)
	}
	req.Header.Set("Content-Type", w.FormDataContentType())
	return r.do(req)
}

func TestSlotsStandInACalendar(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/slots").ok()
	p.says("table.month td", "Mon 7 Dec Quarry End Yard , phase II")
	slots := len(r.coop.Slots)
	if links := all(p.root, "table.month a"); len(links) != slots {
		t.Errorf("%d slots in the calendar of %d", len(links), slots)
	}
	for _, a := range all(p.root, "table.month a") {
		if find(p.root, attr(a, "href")) == nil {
			t.Errorf("%s leads nowhere", attr(a, "href"))
		}
	}
	r.get("/slots?from=2027-06-01&to=2027-06-30").ok().without("table.month")
}

const slotHeader = "slot_id,ready_date,phase,capacity_kg,request_cutoff,price_minor_per_tonne\n"

func TestSlotsFromAFile(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/slots").ok()
	row := "quarry-end-20270104,2027-01-04,two,40000,2026-12-28T12:00:00Z,9800\n"
	for name, c := range map[string]struct{ text, says string }{
		"none":          {"", "Choose a file."},
		"no rows":       {slotHeader, "no rows under its header"},
		"no CSV":        {slotHeader + "a,\"b\n", "Line 2: This is no CSV"},
		"short row":     {slotHeader + "a,b\n", "Line 2: This is no CSV"},
		"column":        {"slot_id,when\na,b\n", "There is no column when"},
		"twice":         {"slot_id,slot_id\na,b\n", "is there twice"},
		"missing":       {"slot_id\na\n", "The column ready_date is missing."},
		"phase":         {slotHeader + row + strings.Replace(row, "two", "four", 1), "Line 3: phase cannot be “four”."},
		"cut-off":       {slotHeader + strings.Replace(row, "T12:00:00Z", "", 1), "Line 2: request_cutoff cannot be"},
		"amount":        {slotHeader + strings.Replace(row, "40000", "-1", 1), "Line 2: capacity_kg cannot be “-1”."},
		"another yard":  {"yard_id," + slotHeader + "mill," + row, "Line 2: yard_id cannot be “mill”."},
		"the service's": {slotHeader + row + strings.Replace(row, "quarry-end-20270104", "quarry-end-20261207", 1), "Line 3, slot_id: is published already"},
	} {
		got := r.sendFile(p, "/slots/upload", c.text)
		if got.status == http.StatusOK {
			t.Errorf("%s: taken", name)
		}
		got.says("#upload-file-error", c.says)
	}
	for range 2 {
		r.sendFile(p, "/slots/upload", "\ufeff"+slotHeader+row).ok().says(".done", "Published.")
	}
	last := r.coop.Slots[len(r.coop.Slots)-1]
	if last.GetSlotId() != "quarry-end-20270104" || last.GetYardId() != "quarry-end" || last.GetPriceMinorPerTonne() != 9800 || r.coop.Calls("PublishSlots") != 3 {
		t.Errorf("published %v after %d calls", last, r.coop.Calls("PublishSlots"))
	}
}

func TestReadingsFromAFile(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/lots/quarry-end-26-41/work").ok()
	const header = "time,probe_id,kind,value\n"
	var file strings.Builder
	file.WriteString(header)
	for i := range 6000 { // more than one message of the stream
		fmt.Fprintf(&file, "2026-11-2%dT%02d:%02d:00Z,p01,compost_temperature,%d.%d\n", i/1440, i/60%24, i%60, 45+i%3, i%10)
	}
	for name, c := range map[string]struct{ text, says string }{
		"kind":            {header + "2026-11-20T08:00:00Z,p01,noise,1\n", "Line 2: kind cannot be “noise”."},
		"probe":           {header + "2026-11-20T08:00:00Z,P 1,ph,1\n", "Line 2: probe_id cannot be"},
		"time":            {header + "yesterday,p01,ph,7\n", "Line 2: time cannot be “yesterday”."},
		"value":           {header + "2026-11-20T08:00:00Z,p01,ph,7.00001\n", "Line 2: value cannot be"},
		"another lot":     {"lot_id," + header + "x,2026-11-20T08:00:00Z,p01,ph,7\n", "Line 2: lot_id cannot be “x”."},
		"cut in a row":    {file.String()[:file.Len()-9], "This is no CSV"},
		"known otherwise": {file.String() + "2026-11-20T08:00:00Z,p99,ph,7\n", "Line 6002, value_thousandths: read 57.0 °C before"},
	} {
		got := r.sendFile(p, "/lots/quarry-end-26-41/readings", c.text)
		if got.status == http.StatusOK {
			t.Errorf("%s: taken", name)
		}
		got.says("#upload-file-error", c.says)
	}
	r.coop.Stored = nil
	r.sendFile(p, "/lots/quarry-end-26-41/readings", file.String()+"2026-11-25T08:00:00Z,p02,air_temperature,-3.25\n").ok().says(".done", "Written down.")
	last := r.coop.Stored[len(r.coop.Stored)-1]
	if len(r.coop.Stored) != 6001 || last.GetValueThousandths() != -3250 || last.GetKind() != compostlotv1.ReadingKind_READING_KIND_AIR_TEMPERATURE || last.GetLotId() != "quarry-end-26-41" {
		t.Errorf("%d stored, the last %v", len(r.coop.Stored), last)
	}
}

func TestWorkOnALot(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	const lot = "/lots/quarry-end-26-41"
	report := r.coop.Reports[0]
	p := r.get(lot+"/work").ok().says(".caution", "⚠").says("a", "Before you go in")

	wrong := r.submit(p, lot+"/step", map[string]string{"mark": "wetted"})
	wrong.says("#step-at-error", "lies after the filling")
	r.submit(p, lot+"/step", map[string]string{"mark": "cooling", "at": "25:00"}).says("#step-at-error", "25:00 is no time of day")
	r.submit(p, lot+"/step", map[string]string{"mark": "cooling", "day": "2026-11-24", "at": "06:30"}).ok().says(".done", "Written down.")
	if m := report.GetMarks()[len(report.GetMarks())-1]; m.GetMark() != compostlotv1.PhaseMark_PHASE_MARK_COOLING || m.GetTime().AsTime().Format("2006-01-02 15:04") != "2026-11-24 06:30" {
		t.Errorf("marked %v", m)
	}

	r.submit(p, lot+"/supplement", map[string]string{"ingredient_1": "soybean meal", "mass_1": "400"}).says("#work-moisture_1-error", "Give the moisture")
	r.submit(p, lot+"/supplement", map[string]string{"ingredient_1": "soybean meal", "moisture_1": "10"}).says("#work-mass_1-error", "Give the mass")
	r.submit(p, lot+"/supplement", map[string]string{"kind": "supplement", "water": "100", "ingredient_1": "soybean meal", "mass_1": "400", "moisture_1": "10", "nitrogen_1": "7"}).ok()
	turn := report.GetTurns()[len(report.GetTurns())-1]
	if len(turn.GetSupplements()) != 1 || turn.GetSupplements()[0].GetMass().GetAmount() != 400 || turn.GetSupplements()[0].GetIngredient().GetNitrogenPercent() != 7 || turn.GetWater().GetAmount() != 100 {
		t.Errorf("written down %v", turn)
	}

	r.submit(p, lot+"/sample", map[string]string{"mass": "30000", "moisture": "70"}).says("#sample-nitrogen-error", "what the laboratory found")
	r.submit(p, lot+"/sample", map[string]string{"mass": "30000", "moisture": "70", "nitrogen": "12"}).says("#sample-nitrogen-error", "no compost holds so much")
	typed := map[string]string{"mass": "30000", "moisture": "70,5", "nitrogen": "2.1", "note": "after filling"}
	r.submit(p, lot+"/sample", typed).ok().says("section li", "Moisture 70.5 %").says("section li", "after filling").says("section ol", "A third of the dry matter is gone.")

	r.submit(p, lot+"/probe", map[string]string{"probe": "p01/1/v1", "offset": "-0.3"}).ok()
	if got := report.GetProbes()[0].GetOffsetThousandths(); got != -300 {
		t.Errorf("offset of %d", got)
	}
	r.submit(p, lot+"/probe", map[string]string{"offset": "-0.5", "request_id": "0190a1b2-0000-7000-8000-0000000000fe"}).says(".alert", "Somebody changed this meanwhile")
	r.submit(p, lot+"/probe", map[string]string{"offset": "warm"}).says("#probe-offset-error", "warm")
	r.submit(p, lot+"/recipe", map[string]string{"recipe_id": "straw-and-litter"}).ok()
	if report.GetLot().GetRecipeId() != "straw-and-litter" {
		t.Error("the recipe is not named")
	}
}

// A correction of 0.9 °F is one of 0.5 °C: differences have no zero to be moved (NIST Special
// Publication 811, 2008, appendix B).
func TestCalibrationInFahrenheit(t *testing.T) {
	t.Parallel()
	r := visit(t, manager, customary)
	p := r.get("/lots/quarry-end-26-41/work").ok().says("select option", "p01, Compost temperature: −0.2 °F")
	r.submit(p, "/lots/quarry-end-26-41/probe", map[string]string{"offset": "0.9"}).ok()
	if got := r.coop.Reports[0].GetProbes()[0].GetOffsetThousandths(); got != 500 {
		t.Errorf("0.9 °F are kept as %d thousandths of a degree Celsius, want 500", got)
	}
}

func TestOpenALot(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/openlot").ok()
	r.submit(p, "/openlot", map[string]string{"lot_id": "quarry-end-26-41", "made_kg": "30000"}).says("#open-lot_id-error", "is taken")
	done := r.submit(p, "/openlot", map[string]string{"lot_id": "quarry-end-26-50", "made_kg": "30000", "started_date": "2026-11-25"}).ok()
	if done.path != "/lots/quarry-end-26-50/work" {
		t.Errorf("went to %s", done.path)
	}
	lot := r.coop.Reports[len(r.coop.Reports)-1].GetLot()
	if lot.GetYardId() != "quarry-end" || lot.GetMadeKg() != 30000 || lot.GetPhase() != 2 {
		t.Errorf("opened %v", lot)
	}
	r.get("/lots").ok().says("p.actions a", "Open a lot")
	visit(t, coordinator).get("/lots").ok().says("p.actions a", "Readings that could not be used")
}

// A yard sees what its probes published, a farm what the instruments in its rooms did, and the
// office both.
func TestRefusedReadingsAreListed(t *testing.T) {
	t.Parallel()
	const noise, humidity = "quarry-end-26-41/p01/noise Wed 25 Nov 09:00 <12> noise is not measured at lots", "alder-brook-1/humidity Wed 25 Nov 10:00 101 humidity of 101 cannot be"
	visit(t, manager).get("/refused").ok().says("#t-refused-yards tr", noise).without("#rooms")
	r := visit(t, grower)
	p := r.get("/refused").ok()
	p.says("#t-refused-rooms tr", humidity).without("#yards")
	if strings.Contains(p.text, "birch-hollow") {
		t.Error("a grower sees what another farm's instruments published")
	}
	r.get("/climate?room=alder-brook-1&day=2026-11-25").ok().says("p a", "Readings that could not be used")
	r.be(coordinator)
	r.get("/refused").ok().says("#t-refused-yards tr", noise).says("#t-refused-rooms tr", humidity).says("#t-refused-rooms tr", "birch-hollow-1/ammonia")
	r.coop.RefusedInRooms = nil
	r.get("/refused").ok().says("section", "Of the rooms ✓ Everything that instruments published was used.")
}
