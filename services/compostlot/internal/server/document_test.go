package server_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// A lot with recipe, log, samples, evidence, a release and a delivery, as one page in both
// forms: each part is in it, the limits of the rules are drawn, and no name breaks out of it.
func TestLotDocument(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	must[*compostlotv1.Recipe](t)(r.SaveRecipe(r.office(t), &compostlotv1.SaveRecipeRequest{RequestId: ids.New(), Recipe: &compostlotv1.Recipe{
		RecipeId: "pile", YardId: "quarry", Name: "Horse <b>manure</b> pile", Parts: horseManurePile(),
	}}))
	lot := phaseTwo("quarry-7", 150_000)
	lot.RecipeId = "pile"
	r.open(t, lot)
	start := time.Date(2026, 2, 10, 8, 0, 0, 0, time.UTC)
	must[*compostlotv1.LotTurn](t)(r.turn(r.office(t), &compostlotv1.LotTurn{LotId: "quarry-7", Time: timestamppb.New(start), Kind: compostlotv1.TurnKind_TURN_KIND_WETTING, Water: tonnes(120), Note: "Łukasz’ hose"}))
	must[*compostlotv1.Lot](t)(r.weigh(r.office(t), "quarry-7", start, 200, 72, 1.57, false))
	must[*compostlotv1.Lot](t)(r.weigh(r.office(t), "quarry-7", start.AddDate(0, 0, 14), 150, 71, 2.0, false))
	r.prove(t, "quarry-7")
	r.release(t, "quarry-7")
	must[*compostlotv1.LotDelivery](t)(r.DeliverLot(r.office(t), delivery("quarry-7", "alder-1", 22_000)))

	get := func(format compostlotv1.DocumentFormat) *compostlotv1.LotDocument {
		return must[*compostlotv1.LotDocument](t)(r.GetLotDocument(r.office(t), &compostlotv1.GetLotDocumentRequest{LotId: "quarry-7", Format: format}))
	}
	page := get(compostlotv1.DocumentFormat_DOCUMENT_FORMAT_HTML)
	text := string(page.GetContent())
	for _, want := range []string{
		"Compost lot quarry-7", "Released on evidence by Orla Keane", "Horse &lt;b&gt;manure&lt;/b&gt; pile", "Łukasz", "pasteurise-60C-2h, least 60 °C",
		"ammonia-10ppm, most 10 ppm", "22,000", "Local codes", "quarry-7-1", "Mass balance", "Europe/Dublin",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if strings.Contains(text, "<b>manure") || strings.Contains(text, "src=") || page.GetContentType() != "text/html; charset=utf-8" {
		t.Error("the page lets a name break out, or needs outside parts")
	}
	pdf := get(compostlotv1.DocumentFormat_DOCUMENT_FORMAT_PDF)
	if !bytes.HasPrefix(pdf.GetContent(), []byte("%PDF-")) || bytes.Count(pdf.GetContent(), []byte("/Type /Page\n")) != 1 || pdf.GetFileName() != "quarry-7.pdf" {
		t.Errorf("a PDF of %d bytes, %d pages", len(pdf.GetContent()), bytes.Count(pdf.GetContent(), []byte("/Type /Page\n")))
	}
	if again := get(compostlotv1.DocumentFormat_DOCUMENT_FORMAT_PDF); !bytes.Equal(pdf.GetContent(), again.GetContent()) {
		t.Error("the same report makes another document")
	}
	_, err := r.GetLotDocument(r.office(t), &compostlotv1.GetLotDocumentRequest{LotId: "none", Format: 1})
	refused(t, err, fault.NotFound, "UNKNOWN_LOT", "lot_id")
	// A lot of which nothing is known yet has a page too.
	r.open(t, phaseTwo("quarry-8", 10))
	for format := range int32(2) {
		must[*compostlotv1.LotDocument](t)(r.GetLotDocument(r.office(t), &compostlotv1.GetLotDocumentRequest{LotId: "quarry-8", Format: compostlotv1.DocumentFormat(format + 1)}))
	}
}
