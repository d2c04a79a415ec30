package web

import (
	"net/url"
	"strings"
	"unicode/utf8"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
)

// Limits of the contract that do not fit the message's own fields, or that are told better here.
const (
	maxCrates = 100_000
	maxBreak  = 50
	maxGrade  = 60
)

// splitRows is how many parts a weighing can be split into at once, one for each stage.
const splitRows = 4

// pickStages are the stages of picking in the order in which a mushroom opens.
var pickStages = []typev1.PickStage{
	typev1.PickStage_PICK_STAGE_CLOSED, typev1.PickStage_PICK_STAGE_VEILED, typev1.PickStage_PICK_STAGE_OPEN, typev1.PickStage_PICK_STAGE_FLAT,
}

// split are the fields that tell how a weighing was sorted by stage and grade.
type split struct {
	Rows []splitRow
	Open bool // something stands in them
}

// splitRow is one part of a weighing.
type splitRow struct {
	Number       int64
	Name, ID     string // of the field for the stage
	Stages       []stageChoice
	Grams, Grade input
}

// splitOf makes the fields of a form with the parts that are known, and some to fill in.
func splitOf(v *visit, f *form, id string, parts []*harvestv1.PickPart) split {
	var s split
	for i := range max(splitRows, len(parts)+1) {
		var stage, grade, grams string
		if i < len(parts) {
			stage, grade, grams = parts[i].GetPickStage().String(), parts[i].GetGrade(), v.words.Field(parts[i].GetGrams())
		}
		r := splitRow{
			Number: int64(i + 1), Name: row("part_stage", i),
			Grams: newInput(f, id, "kg", row("part_grams", i), v.words.T("pick.part_weight"), grams, v.words.MassUnit()),
			Grade: newInput(f, id, "text", row("part_grade", i), v.words.T("pick.part_grade"), grade, ""),
		}
		r.ID = id + "-" + r.Name
		for _, one := range pickStages {
			r.Stages = append(r.Stages, stageChoice{one.String(), pickStageKey(one), f.Value(r.Name, stage) == one.String()})
			s.Open = s.Open || f.Value(r.Name, stage) == one.String()
		}
		s.Open = s.Open || r.Grams.Value != "" || r.Grade.Value != "" || r.Grams.Error() != "" || r.Grade.Error() != ""
		s.Rows = append(s.Rows, r)
	}
	return s
}

// filledPick reads a weighing's form. paths gets what the parts' fields are called in the form.
func (v *visit) filledPick(paths rowPaths) (*harvestv1.Pick, error) {
	pick := &harvestv1.Pick{RoomId: v.r.PostFormValue("room"), ProductId: v.r.PostFormValue("product"), Date: v.r.PostFormValue("date"), Picker: v.r.PostFormValue("picker"), StoreId: v.r.PostFormValue("store_id")}
	var err error
	if pick.GrossGrams, err = v.grams("gross_grams"); err != nil {
		return nil, err
	}
	if pick.TareGrams, err = v.grams("tare_grams"); err != nil {
		return nil, err
	}
	crates, err := v.whole("crates")
	if err != nil {
		return nil, err
	}
	breakNumber, err := v.whole("break_number")
	if err != nil {
		return nil, err
	}
	if crates > maxCrates || breakNumber > maxBreak {
		return nil, fault.InvalidField(map[bool]string{true: "crates", false: "break_number"}[crates > maxCrates], "%s", v.words.T("problem.too_many"))
	}
	pick.Crates = int32(crates)
	if breakNumber > 0 {
		n := int32(breakNumber)
		pick.BreakNumber = &n
	}
	pick.Parts, err = v.parts(paths)
	return pick, err
}

// parts reads how a weighing was sorted; rows that were left blank are none.
func (v *visit) parts(paths rowPaths) ([]*harvestv1.PickPart, error) {
	var all []*harvestv1.PickPart
	for _, i := range v.rows("part_grams", "part_grade", "part_stage") {
		grams, err := v.grams(row("part_grams", i))
		if err != nil {
			return nil, err
		}
		if grams == 0 {
			return nil, fault.InvalidField(row("part_grams", i), "%s", v.words.T("pick.part_blank"))
		}
		grade := v.text(row("part_grade", i))
		if utf8.RuneCountInString(grade) > maxGrade {
			return nil, fault.InvalidField(row("part_grade", i), "%s", v.words.T("problem.name_long", maxGrade))
		}
		if len(all) == 0 {
			paths["pick.parts"] = row("part_grams", i)
		}
		paths.add("pick.parts", len(all), i, "grams", "part_grams", "grade", "part_grade")
		all = append(all, &harvestv1.PickPart{PickStage: typev1.PickStage(typev1.PickStage_value[v.r.PostFormValue(row("part_stage", i))]), Grade: grade, Grams: grams})
	}
	return all, nil
}

// field is the form's name of a weighing's field.
func (r rowPaths) field(path string) string {
	if name, ok := r[path]; ok {
		return name
	}
	if strings.HasPrefix(path, "part_") {
		return path // it is the form's own name already
	}
	return afterDot(path)
}

// weigh records one weighing.
func (p *Pages) weigh(v *visit, paths rowPaths) (view, error) {
	pick, err := v.filledPick(paths)
	if err != nil {
		return view{}, err
	}
	if _, err := p.harvest.RecordPick(v.ctx, &harvestv1.RecordPickRequest{RequestId: v.r.PostFormValue("request_id"), Pick: pick}); err != nil {
		return view{}, err
	}
	return view{goTo: "/pick?weighed=1&day=" + url.QueryEscape(v.r.PostFormValue("day")) + farmQuery(v) + "#w-" + url.PathEscape(v.r.PostFormValue("form"))}, nil
}

// weighIn records one weighing; refused, the pick page shows what was typed.
func (p *Pages) weighIn(v *visit) (view, error) {
	paths := rowPaths{}
	shown, err := p.weigh(v, paths)
	if err != nil {
		return again(v, err, p.showPick, paths.field)
	}
	return shown, nil
}
