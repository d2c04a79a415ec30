package web

// slotWeek is a week of the calendar of slots, Monday to Sunday.
type slotWeek struct {
	First string // its Monday
	Days  [7]slotDay
}

// slotDay is a day with the slots that are ready on it.
type slotDay struct {
	Date  string
	Out   bool // before or after the days shown
	Slots []slotRow
}

// slotWeeks puts slots into the weeks from the first to the last that has one; none without
// slots. Rows come by date.
func slotWeeks(rows []slotRow, from, to string) []slotWeek {
	if len(rows) == 0 {
		return nil
	}
	monday := mondayOf(rows[0].Ready)
	var weeks []slotWeek
	for first := monday; first <= rows[len(rows)-1].Ready; first = addDays(first, 7) {
		week := slotWeek{First: first}
		for i := range week.Days {
			day := addDays(first, i)
			week.Days[i] = slotDay{Date: day, Out: day < from || day > to}
			for _, row := range rows {
				if row.Ready == day {
					week.Days[i].Slots = append(week.Days[i].Slots, row)
				}
			}
		}
		weeks = append(weeks, week)
	}
	return weeks
}

// weekdayKeys are the texts of the days of a week, Monday first.
func weekdayKeys() []string {
	var keys []string
	for _, day := range weekdays {
		keys = append(keys, "weekday."+day)
	}
	return keys
}
