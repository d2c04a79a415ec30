package lotpage

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

var made = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// full is a lot with more of everything than a page has room for, named by a text.
func full(name string) (*compostlotv1.LotReport, *compostlotv1.LotChart) {
	r := &compostlotv1.LotReport{
		Lot:  &compostlotv1.Lot{LotId: "quarry-7", Phase: 2, MadeKg: 1_234_567, State: compostlotv1.LotState_LOT_STATE_HELD, HeldBy: name, HoldReason: name},
		Yard: &compostlotv1.Yard{Name: name, Place: name}, Caution: name, Deference: name, JudgedAt: timestamppb.New(made),
		Recipe: &compostlotv1.Recipe{Name: name, Mix: &compostlotv1.Mix{CnRatio: new(17.5)}},
	}
	c := &compostlotv1.LotChart{BucketSeconds: 3600}
	for i := range 40 {
		ts := timestamppb.New(made.Add(time.Duration(i) * time.Hour))
		r.Deliveries = append(r.Deliveries, &compostlotv1.LotDelivery{DeliveryId: fmt.Sprint("quarry-7-", i), FarmId: name, DeliveredAt: ts})
		r.Turns = append(r.Turns, &compostlotv1.LotTurn{Note: name, Time: ts})
		r.Criteria = append(r.Criteria, &compostlotv1.CriterionResult{CriterionId: "x", Requirement: name, Explanation: strings.Repeat(name+" ", 20), Source: name, Finding: compostlotv1.Finding(i % 4)})
		r.Decisions = append(r.Decisions, &compostlotv1.LotDecision{Kind: compostlotv1.DecisionKind(i % 4), DecidedBy: name, Reason: name})
		r.MassBalance = append(r.MassBalance, &compostlotv1.MassBalanceStep{From: ts, To: ts, DryLoss: .25})
		r.Recipe.Parts = append(r.Recipe.Parts, &compostlotv1.RecipePart{Ingredient: &compostlotv1.Ingredient{Name: name}, Mass: &compostlotv1.Mass{Amount: 1}})
		r.Marks = append(r.Marks, &compostlotv1.MarkedPhase{Mark: compostlotv1.PhaseMark(i % 10), Time: ts})
		r.Gas = append(r.Gas, &compostlotv1.GasFinding{ProbeId: name, Gas: compostlotv1.ReadingKind(i % 10), Advice: compostlotv1.GasAdvice(i % 5), Explanation: name})
		c.Series = append(c.Series, &compostlotv1.ChartSeries{
			ProbeId: name, Kind: compostlotv1.ReadingKind(i%9 + 1), Seconds: []int64{0, 3600, int64(i+5) * 3600},
			Least: []int64{-5, 0, 9}, Mean: []int64{0, 0, 10}, Most: []int64{3, 0, 60_000},
		})
		c.Limits = append(c.Limits, &compostlotv1.ChartLimit{CriterionId: name, Kind: compostlotv1.ReadingKind(i%9 + 1), LowThousandths: new(int64(i * 1000))})
	}
	return r, c
}

// bodyText is all text of a document outside of its style, and every element by name.
func bodyText(t *testing.T, doc []byte) (text string, elements map[string]int) {
	t.Helper()
	root, err := html.Parse(bytes.NewReader(doc))
	if err != nil {
		t.Fatal(err)
	}
	elements = map[string]int{}
	for n := range root.Descendants() {
		switch n.Type {
		case html.ElementNode:
			elements[n.Data]++
		case html.TextNode:
			text += n.Data + "\n"
		}
	}
	return text, elements
}

// What has no room is counted, not dropped in silence, and the page stays one.
func TestFullPage(t *testing.T) {
	t.Parallel()
	r, c := full("Quarry & Söhne")
	doc, err := HTML(r, c, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	text, elements := bodyText(t, doc)
	for _, want := range []string{"HELD by Quarry & Söhne", "And 32 more deliveries.", "And 32 more entries.", "And 35 more decisions.", "And 36 more steps.", "And 33 more ingredients.", "1,234,567 kg made", "and "} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if elements["svg"] != 4 || elements["script"] != 0 {
		t.Errorf("elements %v", elements)
	}
	pdf, err := PDF(r, c, time.UTC, made)
	if err != nil {
		t.Fatal(err)
	}
	if n := bytes.Count(pdf, []byte("/Type /Page\n")); n != 1 {
		t.Errorf("%d pages", n)
	}
}

// A lot of which nothing is known has a page.
func TestEmptyPage(t *testing.T) {
	t.Parallel()
	doc, err := HTML(&compostlotv1.LotReport{}, &compostlotv1.LotChart{}, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	text, elements := bodyText(t, doc)
	if !strings.Contains(text, "Nothing was delivered.") || elements["svg"] != 0 {
		t.Errorf("page %s", text)
	}
	if _, err := PDF(&compostlotv1.LotReport{}, &compostlotv1.LotChart{}, time.UTC, made); err != nil {
		t.Error(err)
	}
}

func TestNiceSteps(t *testing.T) {
	t.Parallel()
	for in, want := range map[float64]float64{0.3: 0.5, 1: 1, 1.2: 2, 4: 5, 7: 10, 120: 200} {
		if got := niceStep(in); got < want*.999 || got > want*1.001 {
			t.Errorf("step of %g is %g, want %g", in, got, want)
		}
	}
}

// Whatever people write, it stays text: no element comes of it, and both forms are made.
func FuzzNames(f *testing.F) {
	for _, seed := range []string{"Quarry End", "<script>alert(1)</script>", `"><svg onload=x>`, "Łódź – 30 °C ≥ 5", "\xff\xfe", "mushroom 🍄 \x00\n", strings.Repeat("long ", 40)} {
		f.Add(seed)
	}
	plain, chart := full("plain")
	doc, err := HTML(plain, chart, time.UTC)
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, name string) {
		_, want := bodyText(t, doc)
		r, c := full(name)
		got, err := HTML(r, c, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		_, elements := bodyText(t, got)
		for _, n := range []string{"script", "b", "svg", "table", "tr", "td", "img"} {
			if elements[n] != want[n] {
				t.Errorf("%d elements %s, want %d", elements[n], n, want[n])
			}
		}
		if _, err := PDF(r, c, time.UTC, made); err != nil {
			t.Error(err)
		}
	})
}
