package coopfiles

import (
	"slices"
	"strings"
)

// Wish is a row of wishes.csv.
type Wish struct {
	At
	CustomerID, ZoneID string
	ShareWeight        int64
	ExcludedFarmIDs    []string
	OnlyFarmID         string
	OneFarm            bool
	// Steps are 0 for none.
	PoorerSteps, BetterSteps, ReluctanceMinorPerStep int64
}

// Substitute is a row of substitutes.csv.
type Substitute struct {
	At
	CustomerID, ProductID, InsteadProductID string
	ReluctanceMinor                         int64
}

// MatchSettings is the row of match_settings.csv. Rules are empty for the usual ones.
type MatchSettings struct {
	At
	ShortRule, LeftRule, SeasonStart          string
	SeasonTiltPercent, CorrelationThousandths int64
	Grades                                    []string
}

// PromiseCost is a row of promise_costs.csv. ProductID is empty for all others.
type PromiseCost struct {
	At
	ProductID                              string
	BrokenMinorPerKilo, UnsoldMinorPerKilo int64
}

// ZoneCost is a row of zone_costs.csv.
type ZoneCost struct {
	At
	FarmID, ZoneID string
	MinorPerKilo   int64
}

const mostReluctance = 10_000_000

var wishTable = newTable(
	Table{
		File:  "wishes.csv",
		About: "What a kitchen wishes beside packs. A kitchen without a row keeps the wishes that it has in the suite.",
		Key:   []string{"customer_id"},
	},
	func(r *Wish) (string, string) {
		switch {
		case r.OnlyFarmID != "" && slices.Contains(r.ExcludedFarmIDs, r.OnlyFarmID):
			return "only_farm_id", "a farm that is not among excluded_farm_ids"
		case r.ReluctanceMinorPerStep > 0 && r.PoorerSteps+r.BetterSteps == 0:
			return "reluctance_minor_per_step", "nothing where neither poorer_steps nor better_steps is given"
		}
		return "", ""
	},
	refers("customers.csv", code("customer_id", "The kitchen.", "copper-pan", func(r *Wish) *string { return &r.CustomerID })),
	optional(code("zone_id", "Zone that its packs are carried to, as in zone_costs.csv; empty for none.", "quay", func(r *Wish) *string { return &r.ZoneID })),
	optional(whole("share_weight", "Weight where kitchens of a class share what is short: with 2 it gets twice the packs of one with 1; empty for 1.", "2", 1, 1000, func(r *Wish) *int64 { return &r.ShareWeight })),
	optional(codes("excluded_farm_ids", "Farms whose packs it does not take.", "birch-hill+cedar-bank", func(r *Wish) *[]string { return &r.ExcludedFarmIDs })),
	optional(code("only_farm_id", "The one farm whose packs it takes; empty for any.", "alder-brook", func(r *Wish) *string { return &r.OnlyFarmID })),
	optional(yesNo("one_farm", "yes where it wishes the packs of a line to come from one farm, whichever; met where that costs nobody anything.", "yes", func(r *Wish) *bool { return &r.OneFarm })),
	optional(whole("poorer_steps", "Steps to a poorer grade that it takes, along the grades of match_settings.csv; empty for none.", "1", 0, 10, func(r *Wish) *int64 { return &r.PoorerSteps })),
	optional(whole("better_steps", "Steps to a better grade that it takes; empty for none.", "2", 0, 10, func(r *Wish) *int64 { return &r.BetterSteps })),
	optional(whole("reluctance_minor_per_step", "What a pack counts for less with each step, in minor units (cents).", "50", 0, mostReluctance, func(r *Wish) *int64 { return &r.ReluctanceMinorPerStep })),
)

var substituteTable = newTable(
	Table{
		File:  "substitutes.csv",
		About: "A product that a kitchen takes in place of another, pack for pack. A kitchen with rows takes what they say and nothing else; one without keeps what it has in the suite.",
		Key:   []string{"customer_id", "product_id", "instead_product_id"},
	},
	func(r *Substitute) (string, string) {
		if r.ProductID == r.InsteadProductID {
			return "instead_product_id", "another product than product_id"
		}
		return "", ""
	},
	refers("customers.csv", code("customer_id", "The kitchen.", "copper-pan", func(r *Substitute) *string { return &r.CustomerID })),
	refers("products.csv", code("product_id", "The product that it orders.", "white-closed-2kg", func(r *Substitute) *string { return &r.ProductID })),
	code("instead_product_id", "The product that it takes in its place, of products.csv too.", "white-veiled-2kg", func(r *Substitute) *string { return &r.InsteadProductID }),
	optional(whole("reluctance_minor", "What a pack of that counts for less, in minor units (cents); it is given only where something of the pack's value is left. Empty for 0.", "80", 0, mostReluctance, func(r *Substitute) *int64 { return &r.ReluctanceMinor })),
)

var (
	shortRuleWords = []string{"by_weight", "by_ordered", "in_turn"}
	leftRuleWords  = []string{"by_offer", "by_shares", "by_carry"}
)

var matchSettingsTable = newTable(
	Table{File: "match_settings.csv", MaxRows: 1, About: "The co-op's rules for its matches: one row. Without the file everything stays as it is in the suite."},
	nil,
	optional(oneOf("short_rule", "How kitchens of a class share what is short: equal packs for equal weights, in proportion to what was ordered, or not at all; empty for by_weight.", "by_weight", func(r *MatchSettings) *string { return &r.ShortRule }, shortRuleWords...)),
	optional(oneOf("left_rule", "How farms share what is left over: each sells in proportion to its offer or to its member shares, or the cheapest to carry first; empty for by_offer.", "by_offer", func(r *MatchSettings) *string { return &r.LeftRule }, leftRuleWords...)),
	optional(whole("season_tilt_percent", "How much of what a farm is ahead or behind in the season counts today.", "50", 0, 100, func(r *MatchSettings) *int64 { return &r.SeasonTiltPercent })),
	optional(date("season_start", "First day of the season; empty for the first of January.", "2026-09-01", func(r *MatchSettings) *string { return &r.SeasonStart })),
	optional(whole("correlation_thousandths", "How much any two farms miss their figures together, an assumption: 0 each for itself, 1000 all together.", "200", 0, 1000, func(r *MatchSettings) *int64 { return &r.CorrelationThousandths })),
	optional(words("grades", "The co-op's grades, the best first, as products.csv names them.", "I+II", func(r *MatchSettings) *[]string { return &r.Grades })),
)

var promiseCostTable = newTable(
	Table{
		File:  "promise_costs.csv",
		About: "What it costs to promise too much and too little of a product. Where it is given, what is promised of an expected pick is chosen by it, else the likely figure is. The file's rows take the place of those in the suite.",
		Key:   []string{"product_id"},
	},
	func(r *PromiseCost) (string, string) {
		if r.BrokenMinorPerKilo+r.UnsoldMinorPerKilo == 0 {
			return "broken_minor_per_kg", "a cost above 0 here or in unsold_minor_per_kg"
		}
		return "", ""
	},
	optional(refers("products.csv", code("product_id", "The product; empty for all that have no row of their own.", "white-closed-2kg", func(r *PromiseCost) *string { return &r.ProductID }))),
	whole("broken_minor_per_kg", "Cost of a kilogram that is promised and not there, in minor units (cents).", "600", 0, mostReluctance, func(r *PromiseCost) *int64 { return &r.BrokenMinorPerKilo }),
	whole("unsold_minor_per_kg", "Cost of a kilogram that is there and not promised, in minor units (cents).", "400", 0, mostReluctance, func(r *PromiseCost) *int64 { return &r.UnsoldMinorPerKilo }),
)

var zoneCostTable = newTable(
	Table{
		File:  "zone_costs.csv",
		About: "What it costs to carry a kilogram from a farm to the kitchens of a zone, in place of the farm's cost to the hub. The file's rows take the place of those in the suite.",
		Key:   []string{"farm_id", "zone_id"},
	},
	nil,
	refers("farms.csv", code("farm_id", "The farm.", "alder-brook", func(r *ZoneCost) *string { return &r.FarmID })),
	code("zone_id", "The zone.", "quay", func(r *ZoneCost) *string { return &r.ZoneID }),
	whole("minor_per_kg", "Cost of carrying one kilogram, in minor units (cents).", "9", 0, 1_000_000, func(r *ZoneCost) *int64 { return &r.MinorPerKilo }),
)

// codes are one or more short names joined by +, each once.
func codes[R any](name, meaning, example string, at func(*R) *[]string) field[R] {
	return list(name, meaning, example, "one or more short names of a-z, 0-9 and hyphens, joined by +, each once", at, slug.MatchString)
}

// words are one or more words of the co-op's own joined by +, each once.
func words[R any](name, meaning, example string, at func(*R) *[]string) field[R] {
	return list(name, meaning, example, "one or more words of up to 60 characters, joined by +, each once", at, func(word string) bool {
		return word != "" && len([]rune(word)) <= 60 && word == strings.TrimSpace(word)
	})
}

func list[R any](name, meaning, example, expected string, at func(*R) *[]string, fits func(string) bool) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: expected},
		func(row *R, text string) bool {
			parts := strings.Split(text, "+")
			*at(row) = parts
			for i, part := range parts {
				if !fits(part) || slices.Contains(parts[:i], part) {
					return false
				}
			}
			return true
		},
	}
}
