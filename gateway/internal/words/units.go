package words

import (
	"math"
	"math/big"
	"strconv"
	"strings"
)

// Units are those in which a co-op's pages show and take figures. The zero value is kilograms,
// tonnes and degrees Celsius. Services keep grams and degrees Celsius whatever is shown.
//
// A pound is 453.59237 g exactly and a short ton 2,000 pounds; 0 °C is 32 °F and a kelvin 1.8 °F
// (NIST Special Publication 811, 2008, appendix B). Every conversion is of whole numbers and
// rounds once, half away from zero.
type Units struct{ Pounds, Fahrenheit bool }

const (
	// poundUnits is a pound in hundred-thousandths of a gram.
	poundUnits = 45_359_237
	gramUnits  = 100_000
)

// In is the same language with other units.
func (l *Language) In(u Units) *Language { return l.variants[u] }

// withUnits makes the variants of a language, each with its texts' places for units filled in.
func (l *Language) withUnits() {
	l.variants = map[Units]*Language{}
	raw := l.messages
	for _, u := range []Units{{}, {Pounds: true}, {Fahrenheit: true}, {true, true}} {
		variant := l
		if u != (Units{}) {
			variant = &Language{tag: l.tag, raw: raw, units: u, variants: l.variants}
		}
		kilo, degrees := "unit.kilogram.", "unit.celsius"
		if u.Pounds {
			kilo = "unit.pound."
		}
		if u.Fahrenheit {
			degrees = "unit.fahrenheit"
		}
		text := func(key string) string { return raw[key]["other"] }
		fill := strings.NewReplacer("{mass}", text(kilo+"short"), "{bulk}", text(kilo+"bulk"), "{abulk}", text(kilo+"one_bulk"), "{degrees}", text(degrees))
		variant.messages = make(map[string]Message, len(raw))
		for key, message := range raw {
			filled := make(Message, len(message))
			for form, text := range message {
				filled[form] = fill.Replace(text)
			}
			variant.messages[key] = filled
		}
		l.variants[u] = variant
	}
	l.raw = raw
}

// Units are the units that the language writes.
func (l *Language) Units() Units { return l.units }

// Weight writes grams in the unit of mass with one decimal, without the unit.
func (l *Language) Weight(grams int64) string { return l.Tenths(l.thousandths(grams)) }

// Mass writes grams with the unit, for example "12.5 kg".
func (l *Language) Mass(grams int64) string { return l.Weight(grams) + " " + l.MassUnit() }

// MassUnit is the symbol of the unit of mass.
func (l *Language) MassUnit() string { return l.T("unit.of_mass") }

// Tonnes writes kilograms as tonnes, or short tons, with one decimal, without the unit.
func (l *Language) Tonnes(kg int64) string {
	if l.units.Pounds {
		kg = ratio(kg, gramUnits*1000, 2*poundUnits)
	}
	return l.Tenths(kg)
}

// Whole writes kilograms in the unit of mass as a whole number, without the unit.
func (l *Language) Whole(kg int64) string {
	if l.units.Pounds {
		kg = ratio(kg, gramUnits*1000, poundUnits)
	}
	return l.Count(kg)
}

// Degrees writes thousandths of a degree Celsius in the unit of temperature with one decimal and
// the unit, for example "57.2 °C".
func (l *Language) Degrees(thousandths int64) string {
	return l.Tenths(l.Temperature(thousandths)) + " " + l.DegreeUnit()
}

// DegreeUnit is the symbol of the unit of temperature.
func (l *Language) DegreeUnit() string { return l.T("unit.of_temperature") }

// Temperature turns thousandths of a degree Celsius into thousandths of the shown unit.
func (l *Language) Temperature(thousandths int64) int64 {
	if !l.units.Fahrenheit {
		return thousandths
	}
	return ratio(thousandths, 9, 5) + 32_000
}

// Celsius turns thousandths of the shown unit of temperature into thousandths of a degree Celsius.
func (l *Language) Celsius(thousandths int64) int64 {
	if !l.units.Fahrenheit {
		return thousandths
	}
	return ratio(thousandths-32_000, 5, 9)
}

// thousandths turns grams into thousandths of the shown unit of mass.
func (l *Language) thousandths(grams int64) int64 {
	if !l.units.Pounds {
		return grams
	}
	return ratio(grams, gramUnits*1000, poundUnits)
}

// Grams reads a mass in the shown unit as people type it, with a point or a comma and at most
// three decimals, to the gram. It returns false for anything else, for negative figures and for
// more than a million of the unit.
func (l *Language) Grams(typed string) (int64, bool) {
	read, ok := Thousandths(typed)
	if ok && l.units.Pounds {
		read = ratio(read, poundUnits, gramUnits*1000)
	}
	return read, ok
}

// Field writes grams for a form's field, without grouping, so that reading it gives the same
// grams again: of pounds the shortest figure that does.
func (l *Language) Field(grams int64) string {
	if !l.units.Pounds {
		return l.Exact(grams)
	}
	exact := l.thousandths(grams)
	for _, step := range []int64{1000, 100, 10} {
		rounded := ratio(exact, 1, step) * step
		if ratio(rounded, poundUnits, gramUnits*1000) == grams {
			return l.Exact(rounded)
		}
	}
	return l.Exact(exact)
}

// Coarse rounds grams to tenths of the shown unit: down, up, or half away from zero, as by is
// negative, positive or 0.
func (l *Language) Coarse(grams int64, by int) int64 {
	const tenth = 100
	exact := l.thousandths(grams)
	switch {
	case by < 0:
		exact = exact / tenth * tenth
	case by > 0:
		exact = (exact + tenth - 1) / tenth * tenth
	default:
		exact = ratio(exact, 1, tenth) * tenth
	}
	if l.units.Pounds {
		return ratio(exact, poundUnits, gramUnits*1000)
	}
	return exact
}

// Step is by how many thousandths of the shown unit a figure goes up and down that comes in packs
// of so many grams: a pack, or the nearest half pound to it.
func (l *Language) Step(packGrams int64) int64 {
	if !l.units.Pounds {
		return packGrams
	}
	return max(1, ratio(l.thousandths(packGrams), 1, 500)) * 500
}

// PerTonne turns minor units for a tonne into those for the shown unit of compost.
func (l *Language) PerTonne(minor int64) int64 {
	if !l.units.Pounds {
		return minor
	}
	return ratio(minor, 2*poundUnits, gramUnits*1000)
}

// ForTonne turns minor units for the shown unit of compost into those for a tonne. Writing what it
// returns gives the same figure again, since a short ton is less than a tonne.
func (l *Language) ForTonne(minor int64) int64 {
	if !l.units.Pounds {
		return minor
	}
	return ratio(minor, gramUnits*1000, 2*poundUnits)
}

// PerMass turns minor units for a kilogram into those for the shown unit of mass.
func (l *Language) PerMass(minor int64) int64 {
	if !l.units.Pounds {
		return minor
	}
	return ratio(minor, poundUnits, gramUnits*1000)
}

// ForMass turns minor units for the shown unit of mass into those for a kilogram; writing what it
// returns gives the same figure again.
func (l *Language) ForMass(minor int64) int64 {
	if !l.units.Pounds {
		return minor
	}
	return ratio(minor, gramUnits*1000, poundUnits)
}

// Exact writes thousandths for a form's field: without grouping and without zeros at the end.
func (l *Language) Exact(thousandths int64) string {
	whole, rest := strconv.FormatInt(thousandths/1000, 10), strconv.FormatInt(1000+thousandths%1000, 10)[1:]
	if rest = strings.TrimRight(rest, "0"); rest == "" {
		return whole
	}
	return whole + l.T("format.decimal") + rest
}

// ratio is n times a over b, rounded half away from zero; at the ends of int64 it stays there.
func ratio(n, a, b int64) int64 {
	x := new(big.Int).Mul(big.NewInt(n), big.NewInt(2*a))
	half := big.NewInt(b)
	if n < 0 {
		half.Neg(half)
	}
	x.Quo(x.Add(x, half), big.NewInt(2*b))
	switch {
	case x.IsInt64():
		return x.Int64()
	case n < 0:
		return math.MinInt64
	default:
		return math.MaxInt64
	}
}
