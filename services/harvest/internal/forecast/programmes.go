package forecast

// Names of the profiles that are shipped as defaults. A co-op changes them as
// data; these are only where it starts.
const (
	WhiteShelf = "white agaricus, shelf"
	WhiteBulk  = "white agaricus, bulk compost"
	BrownShelf = "brown agaricus, shelf"
	BrownBulk  = "brown agaricus, bulk compost"
	OysterBag  = "oyster, bags"
)

const (
	pennStateBasic = "Penn State, Basic Procedures for Agaricus Mushroom Growing, 2003"
	pennStateSix   = "Penn State, Six Steps to Mushroom Farming, 2nd ed."
	stamets        = "Stamets, Growing Gourmet and Medicinal Mushrooms"
	yieldSources   = "Miller, Harper, Macauley and Gulliver 1990 (19.4 kg/m²) and Penn State, Basic Procedures, 2003 (28.1 kg/m², US mean 2001)"
)

// Defaults returns the shipped profiles, in a fixed order.
func Defaults() []Profile {
	white := agaricusShelf(WhiteShelf)
	brown := agaricusShelf(BrownShelf)
	brown.Yield = Range{14_000, 19_000, 25_000, FromMemory, "brown strains bear some tenth less than white"}
	brown.PickStages = []PickStage{{"closed", 550}, {"cup", 200}, {"flat", 250}}
	return []Profile{white, bulk(white, WhiteBulk), brown, bulk(brown, BrownBulk), oysterBag()}
}

// agaricusShelf is a crop that stays in one room from phase II to the end.
func agaricusShelf(name string) Profile {
	return Profile{
		Name: name,
		FirstPick: []Lag{
			// 7–18 d phase II, 14–21 d spawn run and 15–21 d from casing, added.
			{Filled, Range{36, 46, 60, Published, pennStateBasic + " (stage ranges added up)"}},
			{Spawned, Range{29, 35, 42, Published, pennStateBasic + " (stage ranges added up)"}},
			{Cased, Range{15, 18, 21, Published, pennStateBasic}},
			{Aired, Range{10, 11, 12, Published, pennStateBasic}},
			{Pinned, Range{5, 7, 9, FromMemory, "pins to first pick"}},
		},
		Interval: Range{6.5, 8, 10, Published, pennStateBasic + " (7–10 d); abstracts on casing quality (6–10 d)"},
		Width:    Range{2.5, 4, 5.5, Published, pennStateBasic + " (2–4 d) and " + pennStateSix + " (3–5 d)"},
		Shares: []Range{
			{35, 47, 60, FromMemory, "first break 45–50 % of the crop"},
			{22, 33, 45, FromMemory, "second break 30–35 %"},
			{10, 20, 32, FromMemory, "third break 15–20 %"},
		},
		Yield:      Range{16_000, 22_000, 30_000, Published, yieldSources},
		PickStages: []PickStage{{"closed", 700}, {"cup", 200}, {"flat", 100}},
	}
}

// bulk turns a shelf profile into one whose room is filled with compost that
// was spawn-run in a tunnel and cased on the day of filling.
func bulk(p Profile, name string) Profile {
	p.Name = name
	p.FirstPick = []Lag{
		{Filled, Range{15, 18, 22, CommonPractice, "filled with spawn-run compost and cased the same day"}},
		p.FirstPick[2], p.FirstPick[3], p.FirstPick[4],
	}
	return p
}

// oysterBag is bagged straw: opened for fruiting, no casing.
func oysterBag() Profile {
	return Profile{
		Name: OysterBag,
		FirstPick: []Lag{
			// Spawn run 12–21 d, pins 3–5 d, fruit 4–7 d, added.
			{Filled, Range{19, 26, 33, Published, stamets + " (stages added up)"}},
			{Spawned, Range{19, 26, 33, Published, stamets + " (stages added up)"}},
			{Aired, Range{7, 9, 12, Published, stamets + " (pins 3–5 d, fruit 4–7 d)"}},
			{Pinned, Range{4, 5, 7, Published, stamets}},
		},
		Interval: Range{7, 11, 14, Published, stamets + " (7–14 d apart)"},
		Width:    Range{2, 3, 5, CommonPractice, "clusters of one break are picked over a few days"},
		Shares: []Range{
			{40, 52, 65, FromMemory, "first break bears about half"},
			{18, 30, 42, FromMemory, "second break"},
			{8, 18, 30, FromMemory, "third break"},
		},
		Yield:      Range{9_000, 14_000, 20_000, CommonPractice, "per m² of room floor set with bags"},
		PickStages: []PickStage{{"cluster", 1000}},
	}
}
