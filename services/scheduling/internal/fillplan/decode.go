package fillplan

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
)

// maxFileBytes limits how much of a file Decode reads.
const maxFileBytes = 256 << 20

// Decode reads an instance in the JSON form of the format and validates it.
// Every field of the format except meta must be present; fields the format does
// not name are ignored, as meta is. It returns an *InstanceError for anything
// malformed and wraps the reader's error when reading fails.
func Decode(r io.Reader) (*Instance, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxFileBytes+1))
	if err != nil {
		return nil, fmt.Errorf("read instance: %w", err)
	}
	if len(data) > maxFileBytes {
		return nil, instanceErrorf("", "the file is larger than %d bytes", maxFileBytes)
	}
	d := &decoder{}
	in := d.instance(data)
	if d.err != nil {
		return nil, d.err
	}
	if err := in.Validate(); err != nil {
		return nil, err
	}
	return in, nil
}

// decoder turns raw JSON into model values, remembering the first error. The
// methods return zero values after an error.
type decoder struct {
	err *InstanceError
}

func (d *decoder) fail(path, format string, args ...any) {
	if d.err == nil {
		d.err = instanceErrorf(path, format, args...)
	}
}

func (d *decoder) instance(data []byte) *Instance {
	top := d.object("", data)
	if format := d.text("format", top["format"]); d.err == nil && format != Format {
		d.fail("format", "must be %q, got %q", Format, format)
	}
	in := &Instance{
		Name:  d.text("name", top["name"]),
		Weeks: d.index("weeks", top["weeks"]),
	}
	for path, raw := range d.elements("products", top["products"]) {
		o := d.object(path, raw)
		in.Products = append(in.Products, Product{
			ID:         d.text(path+".id", o["id"]),
			ShortCents: d.number(path+".short", o["short"]),
			OverCents:  d.number(path+".over", o["over"]),
		})
	}
	for path, raw := range d.elements("programmes", top["programmes"]) {
		o := d.object(path, raw)
		in.Programmes = append(in.Programmes, Programme{
			ID:         d.text(path+".id", o["id"]),
			Weeks:      d.index(path+".occ", o["occ"]),
			CompostKg:  d.number(path+".compost", o["compost"]),
			CostCents:  d.number(path+".cost", o["cost"]),
			YieldGrams: d.table(path+".yield", o["yield"]),
		})
	}
	for path, raw := range d.elements("farms", top["farms"]) {
		in.Farms = append(in.Farms, d.text(path, raw))
	}
	for path, raw := range d.elements("rooms", top["rooms"]) {
		in.Rooms = append(in.Rooms, d.room(path, raw))
	}
	in.YardKg = d.numbers("cap", top["cap"])
	in.SupplyGrams = d.table("supply", top["supply"])
	in.DemandGrams = d.table("demand", top["demand"])
	return in
}

func (d *decoder) room(path string, raw json.RawMessage) Room {
	o := d.object(path, raw)
	r := Room{
		ID:   d.text(path+".id", o["id"]),
		Farm: d.index(path+".farm", o["farm"]),
		Area: d.number(path+".area", o["area"]),
		Free: d.index(path+".free", o["free"]),
	}
	for where, p := range d.elements(path+".programmes", o["programmes"]) {
		r.Programmes = append(r.Programmes, d.index(where, p))
	}
	return r
}

// object decodes a JSON object with case-sensitive, unrepeated keys.
func (d *decoder) object(path string, raw json.RawMessage) map[string]json.RawMessage {
	if !d.present(path, raw) {
		return nil
	}
	dec := json.NewDecoder(bytes.NewReader(raw))
	if tok, err := dec.Token(); err != nil || tok != json.Delim('{') {
		d.fail(path, "must be a JSON object%s", cause(err))
		return nil
	}
	fields := map[string]json.RawMessage{}
	for dec.More() {
		tok, err := dec.Token()
		var value json.RawMessage
		if err == nil {
			err = dec.Decode(&value)
		}
		if err != nil {
			d.fail(path, "is not valid JSON%s", cause(err))
			return nil
		}
		key := tok.(string)
		if _, twice := fields[key]; twice {
			d.fail(path, "has the field %q twice", key)
			return nil
		}
		fields[key] = value
	}
	if _, err := dec.Token(); err != nil {
		d.fail(path, "is not valid JSON%s", cause(err))
		return nil
	}
	if _, err := dec.Token(); err != io.EOF {
		d.fail(path, "has something after its closing brace")
		return nil
	}
	return fields
}

// elements yields each element of a JSON array with its path.
func (d *decoder) elements(path string, raw json.RawMessage) func(yield func(string, json.RawMessage) bool) {
	return func(yield func(string, json.RawMessage) bool) {
		if !d.present(path, raw) {
			return
		}
		var list []json.RawMessage
		if err := json.Unmarshal(raw, &list); err != nil {
			d.fail(path, "must be a list, got %s", excerpt(raw))
			return
		}
		for i, element := range list {
			if d.err != nil || !yield(fmt.Sprintf("%s[%d]", path, i), element) {
				return
			}
		}
	}
}

func (d *decoder) numbers(path string, raw json.RawMessage) []int64 {
	if !d.present(path, raw) {
		return nil
	}
	// The common case at once; the slow way only to name the culprit.
	var row []int64
	if err := json.Unmarshal(raw, &row); err == nil && !bytes.Contains(raw, []byte("null")) {
		return row
	}
	for where, x := range d.elements(path, raw) {
		d.number(where, x)
	}
	return nil
}

func (d *decoder) table(path string, raw json.RawMessage) [][]int64 {
	var rows [][]int64
	for where, row := range d.elements(path, raw) {
		rows = append(rows, d.numbers(where, row))
	}
	return rows
}

func (d *decoder) number(path string, raw json.RawMessage) int64 {
	if !d.present(path, raw) {
		return 0
	}
	var n int64
	if err := json.Unmarshal(raw, &n); err != nil {
		d.fail(path, "must be a whole number that fits 64 bits, got %s", excerpt(raw))
	}
	return n
}

func (d *decoder) index(path string, raw json.RawMessage) int {
	n := d.number(path, raw)
	if n < math.MinInt32 || n > math.MaxInt32 {
		d.fail(path, "is far out of range: %d", n)
		return 0
	}
	return int(n)
}

func (d *decoder) text(path string, raw json.RawMessage) string {
	if !d.present(path, raw) {
		return ""
	}
	var s string
	if err := json.Unmarshal(raw, &s); err != nil {
		d.fail(path, "must be text, got %s", excerpt(raw))
	}
	return s
}

// present reports whether a value can be decoded, noting a missing one.
func (d *decoder) present(path string, raw json.RawMessage) bool {
	if d.err != nil {
		return false
	}
	if raw == nil || string(bytes.TrimSpace(raw)) == "null" {
		d.fail(path, "is missing")
		return false
	}
	return true
}

func cause(err error) string {
	if err == nil {
		return ""
	}
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		return ": it ends too early"
	}
	return ": " + err.Error()
}

func excerpt(raw json.RawMessage) string {
	const most = 40
	if len(raw) > most {
		return string(raw[:most]) + "…"
	}
	return string(raw)
}
