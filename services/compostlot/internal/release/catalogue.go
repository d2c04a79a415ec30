package release

// Published values, as defaults that a co-op can change. The sources disagree;
// the catalogue keeps each, and Defaults takes one of each subject.

func milli(units float64) *int64 {
	v := int64(units*1000 + 0.5)
	return &v
}

const hour = 3600

var (
	pennState    = Source{"Penn State, mushroom substrate teaching: at least 140 °F (60 °C) for 2 hours, air and compost", FromMemory}
	dmr          = Source{"ICAR Directorate of Mushroom Research, Solan, phase II: 58-62 °C for 4-6 h, 48-52 °C before and after", SeenCopy}
	zhang        = Source{"Zhang et al. 2019, Sci. Rep., doi 10.1038/s41598-018-37681-6", Seen}
	psuSubstrate = Source{"Penn State, Substrate Preparation for White Button Mushrooms, fact sheet, 2023", Seen}
)

// Catalogue lists every criterion known, alternatives of a subject together.
func Catalogue() []Criterion {
	out := pasteurising()
	out = append(out, conditioning()...)
	out = append(out, ammonia()...)
	return append(out, atSpawning()...)
}

func pasteurising() []Criterion {
	both := []Quantity{CompostTemperature, AirTemperature}
	return []Criterion{{
		Key: "pasteurise-60C-2h", Subject: "pasteurisation", Quantities: both, Test: HoldsUnbroken,
		Low: milli(60), Seconds: 2 * hour, From: Filled, To: Cooled, MinProbes: 1, Source: pennState,
		Note: "The Directorate of Mushroom Research teaches 58-62 °C for 4-6 h.",
	}, {
		Key: "pasteurise-58-62C-4h", Subject: "pasteurisation", Quantities: both, Test: HoldsUnbroken,
		Low: milli(58), High: milli(62), Seconds: 4 * hour, From: Filled, To: Cooled, MinProbes: 1, Source: dmr,
		Note: "Penn State teaches at least 60 °C for 2 h (from memory).",
	}}
}

func conditioning() []Criterion {
	compost := []Quantity{CompostTemperature}
	return []Criterion{{
		Key: "condition-45-50C-4d", Subject: "conditioning", Quantities: compost, Test: HoldsInAll,
		Low: milli(45), High: milli(50), Seconds: 96 * hour, From: Filled, To: Cooled, MinProbes: 1, Source: zhang,
		Note: "The source gives 4-9 days. The Directorate of Mushroom Research holds 48-52 °C.",
	}, {
		Key: "condition-48-52C-5d", Subject: "conditioning", Quantities: compost, Test: HoldsInAll,
		Low: milli(48), High: milli(52), Seconds: 120 * hour, From: Filled, To: Cooled, MinProbes: 1, Source: dmr,
		Note: "48 h before pasteurising and about 3 days after it. Zhang et al. 2019 hold 45-50 °C.",
	}}
}

func ammonia() []Criterion {
	air := []Quantity{Ammonia}
	return []Criterion{{
		Key: "ammonia-10ppm", Subject: "ammonia", Quantities: air, Test: EndsWithin, High: milli(10),
		From: Cooled, Readings: 3, MaxAgeSeconds: 24 * hour, MinProbes: 1,
		Source: Source{"practical limit for release taught in the trade, 5-10 ppm in tunnel air", FromMemory},
		Note:   "Penn State, Basic Procedures, says that above 500 ppm spawn is inhibited: much more than is released on.",
	}, {
		Key: "ammonia-500ppm", Subject: "ammonia", Quantities: air, Test: EndsWithin, High: milli(500),
		From: Cooled, Readings: 3, MaxAgeSeconds: 24 * hour, MinProbes: 1,
		Source: Source{"Penn State (D. M. Beyer), Basic Procedures for Agaricus Mushroom Growing: above 0.05 % inhibits spawn", SeenCopy},
		Note:   "Another Penn State text, Six Steps to Mushroom Farming, gives 0.07 % as lethal. In the trade lots are released at 5-10 ppm (from memory).",
	}}
}

func atSpawning() []Criterion {
	last := func(key, subject string, q Quantity, low, high float64, s Source, note string) Criterion {
		return Criterion{
			Key: key, Subject: subject, Quantities: []Quantity{q}, Test: EndsWithin, Low: milli(low), High: milli(high),
			From: Cooled, Readings: 1, MinProbes: 1, Source: s, Note: note,
		}
	}
	warm := last("spawn-temperature-24-27C", "temperature at spawning", CompostTemperature, 23.9, 26.7,
		Source{"75-80 °F at spawning", CommonPractice}, "Penn State names the same range (from memory).")
	warm.MaxAgeSeconds = 12 * hour
	return []Criterion{
		warm,
		last("moisture-68-74", "moisture at spawning", Moisture, 68, 74,
			Source{"Penn State, Six Steps to Mushroom Farming", FromMemory}, "AHDB (UK), Improving spawn-running performance, found about 69 % best."),
		last("nitrogen-2.1-2.3", "nitrogen at spawning", Nitrogen, 2.1, 2.3, psuSubstrate,
			"AHDB (UK) found no difference in growth from 2.3 to 2.65 %."),
		last("nitrogen-2.1-2.65", "nitrogen at spawning", Nitrogen, 2.1, 2.65,
			Source{"AHDB (UK), Improving spawn-running performance: 2.3-2.65 % made no difference; lower end from Penn State", SeenCopy},
			"Penn State's fact sheet of 2023 gives 2.1-2.3 %."),
		last("ph-7-8", "pH at spawning", Acidity, 7, 8,
			Source{"half a unit either side of the pH 7.5 of Zhang et al. 2019; the width is common practice, no source", CommonPractice}, ""),
	}
}

// Defaults takes the first of each subject of the catalogue, and says which
// readings can be proof.
func Defaults() Rules {
	out := Rules{Sanity: defaultSanity()}
	taken := map[string]bool{}
	for _, c := range Catalogue() {
		if !taken[c.Subject] {
			out.Criteria = append(out.Criteria, c)
			taken[c.Subject] = true
		}
	}
	return out
}

// defaultSanity holds common practice, no source: what instruments in a tunnel
// can show, and how long a live one shows exactly the same.
func defaultSanity() map[Quantity]Sanity {
	const day = 24 * hour
	return map[Quantity]Sanity{
		CompostTemperature: {Least: -20_000, Most: 95_000, MaxGapSeconds: hour / 4, StuckSeconds: 2 * hour},
		AirTemperature:     {Least: -40_000, Most: 95_000, MaxGapSeconds: hour / 4, StuckSeconds: 2 * hour},
		// Clean air reads the same for hours: only a long standstill is suspect.
		Ammonia:  {Least: 0, Most: 10_000_000, MaxGapSeconds: 6 * hour, StuckSeconds: 12 * hour},
		Oxygen:   {Least: 0, Most: 25_000, MaxGapSeconds: hour, StuckSeconds: 12 * hour},
		Moisture: {Least: 1_000, Most: 99_000, MaxGapSeconds: 7 * day},
		Acidity:  {Least: 1_000, Most: 13_000, MaxGapSeconds: 7 * day},
		Nitrogen: {Least: 100, Most: 10_000, MaxGapSeconds: 7 * day},
	}
}
