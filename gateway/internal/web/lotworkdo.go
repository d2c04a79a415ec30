package web

import (
	"math"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
)

// markWords are the steps in the order in which they come.
var markWords = []string{"wetted", "filled", "levelling", "pasteurising", "conditioning", "cooling", "cooled", "spawned", "colonised"}

// typedInstant reads a day and a time of day in the co-op's time zone.
func (v *visit) typedInstant() (*timestamppb.Timestamp, error) {
	day, at := v.r.PostFormValue("day"), v.r.PostFormValue("at")
	if _, err := time.Parse(time.DateOnly, day); err != nil {
		return nil, fault.InvalidField("day", "%s", v.words.T("problem.day", day))
	}
	t, err := time.ParseInLocation("2006-01-02 15:04", day+" "+at, v.zone)
	if err != nil {
		return nil, fault.InvalidField("at", "%s", v.words.T("lotwork.no_time", at))
	}
	return timestamppb.New(t), nil
}

func workAddress(v *visit, done string) string { return lotAddress(v) + "/work?done=" + done }

// setLotRecipe names the recipe of a lot.
func (p *Pages) setLotRecipe(v *visit) (view, error) {
	_, err := p.compostlot.SetLotRecipe(v.ctx, &compostlotv1.SetLotRecipeRequest{RequestId: v.r.PostFormValue("request_id"), LotId: v.r.PathValue("lot"), RecipeId: v.r.PostFormValue("recipe_id")})
	return view{goTo: workAddress(v, "recipe")}, err
}

// markStep writes down when a step of the making began.
func (p *Pages) markStep(v *visit) (view, error) {
	when, err := v.typedInstant()
	if err != nil {
		return view{}, err
	}
	mark := compostlotv1.PhaseMark(compostlotv1.PhaseMark_value["PHASE_MARK_"+strings.ToUpper(v.r.PostFormValue("mark"))])
	_, err = p.compostlot.MarkPhases(v.ctx, &compostlotv1.MarkPhasesRequest{RequestId: v.r.PostFormValue("request_id"), Marks: []*compostlotv1.MarkedPhase{{LotId: v.r.PathValue("lot"), Mark: mark, Time: when}}})
	return view{goTo: workAddress(v, "step")}, err
}

// recordWork writes down a working with what was put in.
func (p *Pages) recordWork(v *visit) (view, error) {
	when, err := v.typedInstant()
	if err != nil {
		return view{}, err
	}
	turn, err := v.turnAt(when)
	if err != nil {
		return view{}, err
	}
	for i := range additions {
		part, err := v.addition("_" + strconv.Itoa(i))
		if err != nil {
			return view{}, err
		}
		if part != nil {
			turn.Supplements = append(turn.Supplements, part)
		}
	}
	_, err = p.compostlot.RecordTurn(v.ctx, &compostlotv1.RecordTurnRequest{RequestId: v.r.PostFormValue("request_id"), Turn: turn})
	return view{goTo: workAddress(v, "work")}, err
}

// turnAt is the working of the heap that a form tells of, without what was put in beside water.
func (v *visit) turnAt(when *timestamppb.Timestamp) (*compostlotv1.LotTurn, error) {
	water, err := v.kilogramsOf("water")
	return &compostlotv1.LotTurn{
		LotId: v.r.PathValue("lot"), Time: when, Water: water, Note: strings.TrimSpace(v.r.PostFormValue("note")),
		Kind: compostlotv1.TurnKind(compostlotv1.TurnKind_value["TURN_KIND_"+strings.ToUpper(v.r.PostFormValue("kind"))]),
	}, err
}

// addition reads what was put in beside water; nil where nothing is named.
func (v *visit) addition(at string) (*compostlotv1.RecipePart, error) {
	in := &compostlotv1.Ingredient{Name: strings.TrimSpace(v.r.PostFormValue("ingredient" + at))}
	if in.GetName() == "" {
		return nil, nil
	}
	moisture, err := v.figure("moisture" + at)
	if err != nil {
		return nil, err
	}
	if moisture == nil {
		return nil, fault.InvalidField("moisture"+at, "%s", v.words.T("recipes.moisture_needed"))
	}
	in.MoisturePercent = *moisture
	if in.NitrogenPercent, err = v.figure("nitrogen" + at); err != nil {
		return nil, err
	}
	mass, err := v.kilogramsOf("mass" + at)
	if err != nil {
		return nil, err
	}
	if mass == nil {
		return nil, fault.InvalidField("mass"+at, "%s", v.words.T("lotwork.mass_needed"))
	}
	return &compostlotv1.RecipePart{Ingredient: in, Mass: mass}, nil
}

// kilogramsOf reads a mass in the co-op's unit; nil where none is typed.
func (v *visit) kilogramsOf(name string) (*compostlotv1.Mass, error) {
	grams, err := v.grams(name)
	if err != nil || grams == 0 {
		return nil, err
	}
	return &compostlotv1.Mass{Amount: float64(grams) / 1000, Unit: compostlotv1.MassUnit_MASS_UNIT_KILOGRAM}, nil
}

// recordSample writes down a lot weighed and sampled.
func (p *Pages) recordSample(v *visit) (view, error) {
	when, err := v.typedInstant()
	if err != nil {
		return view{}, err
	}
	sample := &compostlotv1.HeapSample{LotId: v.r.PathValue("lot"), Time: when, Note: strings.TrimSpace(v.r.PostFormValue("note"))}
	if sample.Mass, err = v.kilogramsOf("mass"); err != nil {
		return view{}, err
	}
	moisture, err := v.figure("moisture")
	if err != nil {
		return view{}, err
	}
	nitrogen, err := v.figure("nitrogen")
	switch {
	case err != nil:
		return view{}, err
	case sample.GetMass() == nil:
		return view{}, fault.InvalidField("mass", "%s", v.words.T("lotwork.mass_needed"))
	case moisture == nil:
		return view{}, fault.InvalidField("moisture", "%s", v.words.T("lotwork.sample_needed"))
	case nitrogen == nil:
		return view{}, fault.InvalidField("nitrogen", "%s", v.words.T("lotwork.sample_needed"))
	}
	sample.MoisturePercent, sample.NitrogenPercent = *moisture, *nitrogen
	_, err = p.compostlot.RecordHeap(v.ctx, &compostlotv1.RecordHeapRequest{RequestId: v.r.PostFormValue("request_id"), Sample: sample, SetsMade: v.r.PostFormValue("final") != ""})
	return view{goTo: workAddress(v, "sample")}, err
}

// saveProbe enters by how much a probe is off.
func (p *Pages) saveProbe(v *visit) (view, error) {
	id, rest, _ := strings.Cut(v.r.PostFormValue("probe"), "/")
	number, etag, _ := strings.Cut(rest, "/")
	kind, err := strconv.Atoi(number)
	if err != nil {
		return view{}, fault.InvalidField("offset", "%s", v.words.T("lotwork.no_probe"))
	}
	offset, ok := signedThousandths(v.r.PostFormValue("offset"))
	if !ok {
		return view{}, fault.InvalidField("offset", "%s", v.words.T("problem.kg", v.r.PostFormValue("offset")))
	}
	_, err = p.compostlot.SaveProbe(v.ctx, &compostlotv1.SaveProbeRequest{RequestId: v.r.PostFormValue("request_id"), Probe: &compostlotv1.Probe{
		LotId: v.r.PathValue("lot"), ProbeId: id, Kind: compostlotv1.ReadingKind(kind), OffsetThousandths: v.offsetTyped(compostlotv1.ReadingKind(kind), offset), Etag: etag,
	}})
	return view{goTo: workAddress(v, "probe")}, err
}

// isTemperature reports whether a kind is shown in the co-op's unit of temperature.
func isTemperature(kind compostlotv1.ReadingKind) bool {
	return kind == compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE || kind == compostlotv1.ReadingKind_READING_KIND_AIR_TEMPERATURE
}

// offsetShown is a correction in thousandths of the shown unit; of temperatures a difference,
// which has no zero to be moved.
func (v *visit) offsetShown(kind compostlotv1.ReadingKind, thousandths int64) int64 {
	if isTemperature(kind) && v.words.Units().Fahrenheit {
		return int64(math.Round(float64(thousandths) * 9 / 5))
	}
	return thousandths
}

// offsetTyped is a correction as typed in thousandths of the service's unit.
func (v *visit) offsetTyped(kind compostlotv1.ReadingKind, thousandths int64) int64 {
	if isTemperature(kind) && v.words.Units().Fahrenheit {
		return int64(math.Round(float64(thousandths) * 5 / 9))
	}
	return thousandths
}

// workField turns the path of a field in a request into the name of the form's.
func workField(path string) string {
	if !strings.Contains(path, ".") { // the form's own
		return path
	}
	if _, rest, ok := strings.Cut(path, "supplements["); ok {
		number, rest, _ := strings.Cut(rest, "]")
		for _, name := range []string{"moisture", "nitrogen", "mass"} {
			if strings.Contains(rest, name) {
				return name + "_" + number
			}
		}
		return "ingredient_" + number
	}
	for _, name := range []string{"water", "mass", "moisture", "nitrogen", "offset"} {
		if strings.Contains(path, name) {
			return name
		}
	}
	if strings.HasSuffix(path, "time") {
		return "at"
	}
	return afterDot(path)
}
