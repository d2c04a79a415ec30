package web_test

import (
	"net/url"
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/services/platform/identity"
)

func TestClimateOfARoom(t *testing.T) {
	t.Parallel()
	r := visit(t, fakecoop.Who(identity.Grower, "alder-brook"))
	p := r.get("/climate?room=alder-brook-1").ok()
	p.says("section li.short b", "⚠ since")
	p.says(".chart text.limit", "800")
	p.says("#t-carbon-dioxide td", "700")
	p.says(".caution", "Carbon dioxide gathers")
	rows := "kind,room_id,value,time\nair_temperature,alder-brook-1,17.46,2026-11-25T07:00:00Z\nhumidity,alder-brook-1,91,2026-11-25T06:30:00Z\n"
	p = r.sendFile(p, "/climate", rows).ok()
	p.says(".done", "2 new readings")
	p.says("#t-humidity td", "91")
	p.says("#t-air-temperature td", "17.5")
	for text, want := range map[string]string{
		"": "Choose a file",
		"room_id,kind,time,value\nalder-brook-1,light,2026-11-25T07:00:00Z,1\n":                                               "Line 2: kind",
		"room_id,kind,time,value\nalder-brook-1,humidity,noon,1\n":                                                            "Line 2: time",
		"room_id,kind,time,value\nalder-brook-1,humidity,2026-11-25T07:00:00Z,wet\n":                                          "Line 2: value",
		"room_id,kind,time,value\nno-room,humidity,2026-11-25T07:00:00Z,91\nalder-brook-1,humidity,2026-11-25T06:00:00Z,91\n": "Line 2, room_id",
		"room_id,kind,value\nalder-brook-1,humidity,91\n":                                                                     "The column time is missing",
	} {
		r.sendFile(r.get("/climate?room=alder-brook-1").ok(), "/climate", text).says(".error", want)
	}
}

func TestFiguresOfALotSideBySide(t *testing.T) {
	t.Parallel()
	r := visit(t, fakecoop.Who(identity.Grower, "alder-brook"))
	r.coop.Push(fakecoop.Who(identity.Coordinator, ""), "alder-brook-1", "white-closed-2kg", 40_000, 50_000, 61_000)
	p := r.get("/push").ok()
	p = r.get(attr(all(p.root, ".pushrow a")[0], "href")).ok()
	p.says("#t-versions td", "the forecast, standing in")
	p.says("#t-versions td", "late")
	r.get("/said?lot="+url.QueryEscape("nothing")).ok().says("p", "Nothing was expected")
}

func TestFanOfFourWeeks(t *testing.T) {
	t.Parallel()
	for _, who := range []identity.Identity{fakecoop.Who(identity.Grower, "alder-brook"), fakecoop.Who(identity.Coordinator, "")} {
		p := visit(t, who).get("/fan").ok()
		p.says("#t-days td", "165.0")
		p.says("#t-products td", "90.0")
		if len(all(p.root, ".chart path.readband")) != 1 {
			t.Error("no band is drawn")
		}
		p.says(".plainlist", "no break profile")
	}
}

func TestPushesComeFromAFile(t *testing.T) {
	t.Parallel()
	r := visit(t, fakecoop.Who(identity.Grower, "alder-brook"))
	const head = "room_id,product_id,date,low_grams,likely_grams,high_grams\n"
	p := r.sendFile(r.get("/push").ok(), "/push/file", head+"alder-brook-1,white-closed-2kg,2026-11-26,40000,50000,61000\n").ok()
	p.says(".done", "One figure")
	for text, want := range map[string]string{
		head + "alder-brook-1,white-closed-2kg,2026-11-26,40000,,61000\n":        "Line 2: likely_grams",
		head + "alder-brook-1,white-closed-2kg,2026-11-26,50000,40000,61000\n":   "Line 2, low_grams",
		head + "alder-brook-1,white-closed-2kg,2026-11-26,4000,40000,61000000\n": "Line 2, high_grams",
	} {
		r.sendFile(r.get("/push").ok(), "/push/file", text).says(".error", want)
	}
}
