package coopfiles

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"breakshare.example/services/platform/ids"
)

var slug = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,62}[a-z0-9])?$`)

// code is a short name chosen by the co-op, as the services take it.
func code[R any](name, meaning, example string, at func(*R) *string) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: "1 to 64 of a-z, 0-9 and hyphens, no hyphen first or last"},
		func(row *R, text string) bool { *at(row) = text; return slug.MatchString(text) },
	}
}

// probeCode is the short name of a probe: half as long as other codes.
func probeCode[R any](name, meaning, example string, at func(*R) *string) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: "1 to 32 of a-z, 0-9 and hyphens, no hyphen first or last"},
		func(row *R, text string) bool { *at(row) = text; return slug.MatchString(text) && len(text) <= 32 },
	}
}

func uuidText[R any](name, meaning, example string, at func(*R) *string) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: "a UUID (RFC 9562)"},
		func(row *R, text string) bool { *at(row) = strings.ToLower(text); return ids.Valid(text) },
	}
}

// text is for people: characters that can be printed, counted as the services count them.
func text[R any](name, meaning, example string, most int, at func(*R) *string) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: fmt.Sprintf("a text of 1 to %d characters on one line, no spaces around it", most)},
		func(row *R, text string) bool {
			*at(row) = text
			return utf8.RuneCountInString(text) <= most && text == strings.TrimSpace(text) && !strings.ContainsFunc(text, unicode.IsControl)
		},
	}
}

func whole[R any](name, meaning, example string, least, most int64, at func(*R) *int64) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: fmt.Sprintf("a whole number from %d to %d", least, most)},
		func(row *R, text string) bool {
			n, ok := parseWhole(text)
			*at(row) = n
			return ok && n >= least && n <= most
		},
	}
}

// parseWhole takes digits with a minus before them and nothing else: no plus, no separators,
// no underscores.
func parseWhole(text string) (int64, bool) {
	digits := strings.TrimPrefix(text, "-")
	if digits == "" || strings.ContainsFunc(digits, func(r rune) bool { return r < '0' || r > '9' }) {
		return 0, false
	}
	n, err := strconv.ParseInt(text, 10, 64)
	return n, err == nil
}

// thousandths is a decimal with at most three decimals, kept as a whole number.
func thousandths[R any](name, meaning, example string, at func(*R) *int64) field[R] {
	const most = 1_000_000
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: fmt.Sprintf("a decimal from -%d to %d with a point and at most 3 decimals", most, most)},
		func(row *R, text string) bool {
			n, ok := parseThousandths(text)
			*at(row) = n
			return ok && n >= -most*1000 && n <= most*1000
		},
	}
}

func parseThousandths(text string) (int64, bool) {
	before, after, point := strings.Cut(text, ".")
	if len(after) > 3 || point && after == "" || len(before) > 15 {
		return 0, false
	}
	n, ok := parseWhole(before)
	if !ok || strings.ContainsFunc(after, func(r rune) bool { return r < '0' || r > '9' }) {
		return 0, false
	}
	fraction, _ := parseWhole((after + "000")[:3])
	if strings.HasPrefix(before, "-") {
		fraction = -fraction
	}
	if n > math.MaxInt64/1000-1 || n < math.MinInt64/1000+1 {
		return 0, false
	}
	return n*1000 + fraction, true
}

func date[R any](name, meaning, example string, at func(*R) *string) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: "a day of the calendar as yyyy-mm-dd (ISO 8601)"},
		func(row *R, text string) bool {
			*at(row) = text
			_, err := time.Parse(time.DateOnly, text)
			return err == nil
		},
	}
}

func instant[R any](name, meaning, example string, at func(*R) *time.Time) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: "an instant with its offset from UTC (RFC 3339)"},
		func(row *R, text string) bool {
			t, err := time.Parse(time.RFC3339, text)
			*at(row) = t.UTC()
			return err == nil && t.UTC().Year() > 0 && t.UTC().Year() < 10_000
		},
	}
}

func zone[R any](name, meaning, example string, at func(*R) *string) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: "an IANA time zone"},
		func(row *R, text string) bool {
			*at(row) = text
			_, err := time.LoadLocation(text)
			return err == nil && text != "Local"
		},
	}
}

var letters = regexp.MustCompile(`^[A-Z]{3}$`)

func currency[R any](name, meaning, example string, at func(*R) *string) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: "an ISO 4217 code of three capital letters"},
		func(row *R, text string) bool { *at(row) = text; return letters.MatchString(text) },
	}
}

func oneOf[R any](name, meaning, example string, at func(*R) *string, words ...string) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: "one of " + strings.Join(words, ", ")},
		func(row *R, text string) bool { *at(row) = text; return slices.Contains(words, text) },
	}
}

func yesNo[R any](name, meaning, example string, at func(*R) *bool) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: "yes or no"},
		func(row *R, text string) bool { *at(row) = text == "yes"; return text == "yes" || text == "no" },
	}
}

// someOf is one or more of the words joined by +, each once.
func someOf[R any](name, meaning, example string, at func(*R) *[]string, words ...string) field[R] {
	return field[R]{
		Column{Name: name, Meaning: meaning, Example: example, Expected: "one or more of " + strings.Join(words, ", ") + ", joined by +, each once"},
		func(row *R, text string) bool {
			parts := strings.Split(text, "+")
			*at(row) = parts
			for i, part := range parts {
				if !slices.Contains(words, part) || slices.Contains(parts[:i], part) {
					return false
				}
			}
			return true
		},
	}
}
