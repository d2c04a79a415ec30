package coopfiles

import (
	"regexp"
	"slices"
	"strings"
	"time"
)

var weekdayWords = []string{"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"}

var orderingTable = newTable(
	Table{File: "ordering.csv", MaxRows: 1, About: "When kitchens may order: one row. Without the file everything stays as it is in the suite."},
	func(r *Ordering) (string, string) {
		if r.CutoffTime == "" && r.CutoffDaysBefore != 0 {
			return "cutoff_time", "a time of day where cutoff_days_before is given"
		}
		return "", ""
	},
	optional(clock("cutoff_time", "Until when kitchens may place and change orders, on the clock of the co-op's time zone; empty for no cut-off.", "16:00", func(r *Ordering) *string { return &r.CutoffTime })),
	optional(whole("cutoff_days_before", "How many days before the day of delivery that is; usually 1.", "1", 0, 7, func(r *Ordering) *int64 { return &r.CutoffDaysBefore })),
	optional(whole("horizon_days", "For how many days from tomorrow standing orders become orders; empty for 14.", "14", 1, 60, func(r *Ordering) *int64 { return &r.HorizonDays })),
)

var standingTable = newTable(
	Table{
		File:  "standing_orders.csv",
		About: "One line of a standing order: so many packs of a product on some days of every week, until further notice. The lines of a standing order share standing_order_id, customer_id and the dates. Where a kitchen has an order of its own for a day, that one counts. Days that the kitchen took out in the suite stay out.",
		Key:   []string{"standing_order_id", "product_id", "weekdays"},
	},
	func(r *StandingRow) (string, string) {
		switch {
		case r.SmallestPacks > r.Packs:
			return "smallest_packs", "no more than packs"
		case r.UntilDate != "" && r.UntilDate < r.FromDate:
			return "until_date", "a day no earlier than from_date"
		}
		return "", ""
	},
	code("standing_order_id", "Short name of the standing order.", "copper-pan-weekly", func(r *StandingRow) *string { return &r.StandingOrderID }),
	refers("customers.csv", code("customer_id", "The kitchen.", "copper-pan", func(r *StandingRow) *string { return &r.CustomerID })),
	refers("products.csv", code("product_id", "The product; once for each day of the week.", "white-closed-2kg", func(r *StandingRow) *string { return &r.ProductID })),
	someOf("weekdays", "Days of delivery.", "tuesday+friday", func(r *StandingRow) *[]string { return &r.Weekdays }, weekdayWords...),
	whole("packs", "Packs on each of the days.", "4", 1, 100_000, func(r *StandingRow) *int64 { return &r.Packs }),
	optional(whole("smallest_packs", "The fewest packs that are of use; empty where any are.", "2", 0, 100_000, func(r *StandingRow) *int64 { return &r.SmallestPacks })),
	date("from_date", "First day of delivery.", "2026-11-27", func(r *StandingRow) *string { return &r.FromDate }),
	optional(date("until_date", "Last day of delivery; empty for no end.", "2027-06-30", func(r *StandingRow) *string { return &r.UntilDate })),
	optional(dates("skip_dates", "Days to leave out, such as the kitchen's holidays; empty for none.", "2026-12-25+2026-12-26", func(r *StandingRow) *[]string { return &r.SkipDates })),
)

var timeOfDay = regexp.MustCompile(`^([01][0-9]|2[0-3]):[0-5][0-9]$`)

func clock[R any](name, meaning, example string, at func(*R) *string) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: "a time of day of 24 hours as hh:mm"},
		func(row *R, text string) bool { *at(row) = text; return timeOfDay.MatchString(text) },
	}
}

// dates are one or more days joined by +, each once.
func dates[R any](name, meaning, example string, at func(*R) *[]string) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: "one or more days of the calendar as yyyy-mm-dd (ISO 8601), joined by +, each once"},
		func(row *R, text string) bool {
			parts := strings.Split(text, "+")
			*at(row) = parts
			for i, part := range parts {
				if _, err := time.Parse(time.DateOnly, part); err != nil || slices.Contains(parts[:i], part) {
					return false
				}
			}
			return true
		},
	}
}

// checkStanding sees that the lines of a standing order agree on kitchen and dates.
func checkStanding(rows []StandingRow) []Problem {
	c := &collector{file: standingTable.File}
	first := make(map[string]StandingRow)
	for _, row := range rows {
		head, known := first[row.StandingOrderID]
		if !known {
			first[row.StandingOrderID] = row
			continue
		}
		for _, same := range []struct{ column, found, expected string }{
			{"customer_id", row.CustomerID, head.CustomerID}, {"from_date", row.FromDate, head.FromDate}, {"until_date", row.UntilDate, head.UntilDate},
			{"skip_dates", strings.Join(row.SkipDates, "+"), strings.Join(head.SkipDates, "+")},
		} {
			if same.found != same.expected {
				c.add(row.Line, same.column, "found %s, expected %s as on line %d of the same standing order", shorten(same.found), shorten(same.expected), head.Line)
			}
		}
	}
	return c.problems()
}
