package shelflife

// Point is the life at one temperature.
type Point struct {
	TenthC    int
	LowHours  int // the shortest that the source names
	HighHours int
}

// Table is what one source says of a product, coldest point first.
type Table struct {
	Product string // species as the co-op's products name it
	Points  []Point
	Source  string
	Basis   string // "published", "common practice, no source", "from memory"
}

// Agaricus and Oyster name the products of the shipped tables.
const (
	Agaricus = "agaricus"
	Oyster   = "oyster"
)

const day = 24

// Defaults returns the shipped tables. A co-op may replace them by its own.
func Defaults() []Table {
	return []Table{
		{
			Product: Agaricus, Basis: "published",
			Points: []Point{{15, 5 * day, 7 * day}, {45, 2 * day, 2 * day}},
			Source: "UC Davis Postharvest, Mushroom: recommendations for maintaining postharvest quality (Suslow and Cantwell)",
		},
		{
			Product: Agaricus, Basis: "published",
			Points: []Point{{10, 10 * day, 10 * day}, {30, 10 * day, 10 * day}, {50, 10 * day, 10 * day}, {250, 4 * day, 4 * day}},
			Source: "Thaijaidee et al. 2003, APEC symposium, p. 275",
		},
		{
			Product: Oyster, Basis: "from memory",
			Points: []Point{{10, 5 * day, 8 * day}, {50, 3 * day, 5 * day}, {100, 2 * day, 3 * day}},
			Source: "growers' experience",
		},
	}
}

// Range of a cold store, tenths of °C.
const (
	BestLow      = 0   // UC Davis Postharvest: 0–1.5 °C is best
	BestHigh     = 15  //
	PracticeHigh = 72  // common practice, no source: 35–45 °F
	FreezesAt    = -9  // USDA Agriculture Handbook 66, from memory
	warmFactor   = 2.9 // life lost per 10 °C above the warmest point
)

// StoreState says how a store's air temperature stands to its range.
type StoreState uint8

// The states of a store.
const (
	StoreBest   StoreState = iota + 1 // 0 to 1.5 °C
	StoreUsable                       // up to 7.2 °C, or from −0.8 to 0 °C: keeps, but for less long or near freezing
	StoreWarm                         // above 7.2 °C
	StoreFrozen                       // at −0.9 °C or below: the mushrooms freeze
)

// String says the state in words.
func (s StoreState) String() string {
	switch s {
	case StoreBest:
		return "best"
	case StoreUsable:
		return "usable"
	case StoreWarm:
		return "too warm"
	case StoreFrozen:
		return "freezing"
	}
	return "unknown"
}

// StoreAt judges an air temperature in tenths of °C.
func StoreAt(tenthC int) StoreState {
	switch {
	case tenthC <= FreezesAt:
		return StoreFrozen
	case tenthC > PracticeHigh:
		return StoreWarm
	case tenthC >= BestLow && tenthC <= BestHigh:
		return StoreBest
	}
	return StoreUsable
}
