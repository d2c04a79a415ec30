package words

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Count writes a whole number with its thousands apart.
func (l *Language) Count(n int64) string {
	digits := strconv.FormatInt(n, 10)
	sign := ""
	if n < 0 {
		sign, digits = "−", digits[1:]
	}
	group := l.T("format.thousands")
	for i := len(digits) - 3; i > 0; i -= 3 {
		digits = digits[:i] + group + digits[i:]
	}
	return sign + digits
}

// Tenths writes thousandths with one decimal, rounded half away from zero.
func (l *Language) Tenths(thousandths int64) string {
	sign := ""
	if thousandths < 0 {
		sign, thousandths = "−", -thousandths
	}
	tenths := thousandths/100 + thousandths%100/50
	return fmt.Sprintf("%s%s%s%d", sign, l.Count(tenths/10), l.T("format.decimal"), tenths%10)
}

// Percent writes thousandths as a percentage with one decimal.
func (l *Language) Percent(perMille int64) string { return l.Tenths(perMille*100) + "\u202f%" }

// Thousandths reads a figure as people type it, with a point or a comma and at most three
// decimals. It returns false for anything else, for negative figures and for more than a million.
func Thousandths(typed string) (int64, bool) {
	whole, rest, _ := strings.Cut(strings.Replace(strings.TrimSpace(typed), ",", ".", 1), ".")
	if whole == "" && rest == "" || len(whole) > 7 || len(rest) > 3 || !digitsOnly(whole) || !digitsOnly(rest) {
		return 0, false
	}
	rest += strings.Repeat("0", 3-len(rest))
	units, _ := strconv.ParseInt("0"+whole, 10, 64)
	fraction, _ := strconv.ParseInt(rest, 10, 64)
	read := units*1000 + fraction
	return read, read <= 1_000_000_000
}

func digitsOnly(s string) bool {
	return strings.Trim(s, "0123456789") == ""
}

// Money writes minor units of a currency with its code, for example "12.50 EUR". All
// currencies have two decimals here but those named in ISO 4217 with none or three.
func (l *Language) Money(minor int64, currency string) string {
	decimals := 2
	switch currency {
	case "JPY", "KRW", "CLP", "ISK", "VND", "XAF", "XOF", "XPF", "UGX", "PYG", "RWF":
		decimals = 0
	case "BHD", "KWD", "OMR", "TND", "JOD", "IQD", "LYD":
		decimals = 3
	}
	sign := ""
	if minor < 0 {
		sign, minor = "−", -minor
	}
	if decimals == 0 {
		return sign + l.Count(minor) + " " + currency
	}
	unit := int64(100)
	if decimals == 3 {
		unit = 1000
	}
	return fmt.Sprintf("%s%s%s%0*d %s", sign, l.Count(minor/unit), l.T("format.decimal"), decimals, minor%unit, currency)
}

// Day writes an ISO date in full, "Thursday 26 November 2026", and leaves anything else as it is.
func (l *Language) Day(date string) string { return l.date(date, "format.day") }

// LongDay writes an ISO date of this year as "Thursday 26 November", and leaves anything else as it is.
func (l *Language) LongDay(date string) string { return l.date(date, "format.long_day") }

// Date writes an ISO date as "26 Nov", and leaves anything else as it is.
func (l *Language) Date(date string) string { return l.date(date, "format.date") }

// ShortDay writes an ISO date as "Thu 26 Nov", and leaves anything else as it is.
func (l *Language) ShortDay(date string) string { return l.date(date, "format.short_day") }

func (l *Language) date(date, pattern string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	weekday, month := strings.ToLower(t.Weekday().String()), strings.ToLower(t.Month().String())
	return strings.NewReplacer(
		"{weekday}", l.T("weekday."+weekday), "{wd}", l.T("wd."+weekday), "{day}", strconv.Itoa(t.Day()),
		"{month}", l.T("month."+month), "{mon}", l.T("mon."+month), "{year}", strconv.Itoa(t.Year()),
	).Replace(l.T(pattern))
}

// Instant writes an instant in a time zone, "Thu 26 Nov 14:05".
func (l *Language) Instant(t time.Time, zone *time.Location) string {
	local := t.In(zone)
	return l.ShortDay(local.Format(time.DateOnly)) + " " + local.Format("15:04")
}
