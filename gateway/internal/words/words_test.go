package words_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"breakshare.example/gateway/internal/words"
)

func load(t testing.TB) *words.Languages {
	t.Helper()
	languages, err := words.Load()
	if err != nil {
		t.Fatal(err)
	}
	return languages
}

var place = regexp.MustCompile(`\{[a-z0-9]+\}`)

// places are what a text has to be filled in, each once.
func places(message words.Message) []string {
	var found []string
	for _, text := range message {
		for _, p := range place.FindAllString(text, -1) {
			if !slices.Contains(found, p) {
				found = append(found, p)
			}
		}
	}
	slices.Sort(found)
	return found
}

// inPatterns are the texts whose places a language orders and chooses as it likes.
func inPatterns(key string) bool { return strings.HasPrefix(key, "format.") }

func TestEveryLanguageSaysEverything(t *testing.T) {
	t.Parallel()
	all := load(t).All()
	english := all[0]
	if english.Tag() != "en" {
		t.Fatalf("the first language is %s, want en", english.Tag())
	}
	for _, l := range all[1:] {
		for key, message := range english.Messages() {
			other, ok := l.Messages()[key]
			if !ok {
				t.Errorf("%s has no text for %q", l.Tag(), key)
				continue
			}
			if !inPatterns(key) && !slices.Equal(places(message), places(other)) {
				t.Errorf("%s fills %v into %q, English %v", l.Tag(), places(other), key, places(message))
			}
			if len(message) != len(other) {
				t.Errorf("%s has the forms %v of %q, English %v", l.Tag(), other, key, message)
			}
		}
		for key := range l.Messages() {
			if !english.Has(key) {
				t.Errorf("%s has %q, which English has not", l.Tag(), key)
			}
		}
	}
}

func TestMatch(t *testing.T) {
	t.Parallel()
	languages := load(t)
	for _, c := range []struct{ chosen, accepted, want string }{
		{"", "", "en"},
		{"", "de-AT,de;q=0.9,en;q=0.5", "de"},
		{"", "fr;q=0.9,en;q=0.8", "en"},
		{"en", "de", "en"},
		{"de", "en", "de"},
		{"rubbish\x00", "de", "de"},
		{"", "*;q=", "en"},
	} {
		if got := languages.Match(c.chosen, c.accepted).Tag(); got != c.want {
			t.Errorf("Match(%q, %q) = %s, want %s", c.chosen, c.accepted, got, c.want)
		}
	}
}

func TestFigures(t *testing.T) {
	t.Parallel()
	languages := load(t)
	en, de := languages.All()[0], languages.Match("de", "")
	at := time.Date(2026, 11, 26, 23, 30, 0, 0, time.UTC)
	zone := time.FixedZone("", 3600)
	for _, c := range []struct{ got, want string }{
		{en.Count(0), "0"}, {en.Count(-1234567), "−1\u202f234\u202f567"}, {de.Count(1234), "1.234"},
		{en.Weight(0), "0.0"}, {en.Weight(49), "0.0"}, {en.Weight(50), "0.1"}, {en.Weight(1949), "1.9"}, {en.Weight(1950), "2.0"},
		{en.Weight(-1950), "−2.0"}, {de.Weight(12_345_678), "12.345,7"}, {en.Tenths(1<<63 - 1), "9\u202f223\u202f372\u202f036\u202f854\u202f775.8"},
		{en.Field(12_500), "12.5"}, {de.Field(12_500), "12,5"}, {en.Field(12_000), "12"}, {en.Field(7), "0.007"},
		{en.Money(1250, "EUR"), "12.50 EUR"}, {de.Money(-5, "EUR"), "−0,05 EUR"}, {en.Money(1250, "JPY"), "1\u202f250 JPY"}, {en.Money(1250, "KWD"), "1.250 KWD"},
		{en.Day("2026-11-26"), "Thursday 26 November 2026"}, {de.Day("2026-11-26"), "Donnerstag, 26. November 2026"},
		{en.ShortDay("2026-03-01"), "Sun 1 Mar"}, {de.ShortDay("2026-03-01"), "So 1. März"}, {en.LongDay("2026-03-01"), "Sunday 1 March"}, {en.Date("2026-03-01"), "1 Mar"},
		{en.Day("2026-02-30"), "2026-02-30"}, {en.Day("soon"), "soon"},
		{en.Instant(at, zone), "Fri 27 Nov 00:30"},
		{en.N("unit.n_packs", 1), "1 pack"}, {en.N("unit.n_packs", 0), "0 packs"}, {de.N("unit.n_packs", 1500), "1.500 Packungen"},
		{en.T("tomorrow.got", int64(6), 30), "6 of 30 packs"}, {en.T("no.such.key"), "no.such.key"},
		{en.T("tomorrow.by", "{1} {0}"), "by {1} {0}"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

func TestThousandthsReadsWhatPeopleType(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]int64{
		"12.5": 12_500, "12,5": 12_500, " 12 ": 12_000, ".5": 500, "5.": 5_000, "0": 0, "0.001": 1, "1000000": 1_000_000_000,
	} {
		if got, ok := words.Thousandths(typed); !ok || got != want {
			t.Errorf("Thousandths(%q) = %d, %v, want %d", typed, got, ok, want)
		}
	}
	for _, typed := range []string{"", ".", ",", "-1", "+1", "1e3", "1.2345", "1.2.3", "1,2,3", "12 500", "ten", "1000000.001", "10000000", "١٢", "0x10"} {
		if got, ok := words.Thousandths(typed); ok {
			t.Errorf("Thousandths(%q) = %d, want it refused", typed, got)
		}
	}
}

func FuzzThousandths(f *testing.F) {
	for _, seed := range []string{"12.5", "12,5", "", ".", "0.0000", "999999999999999999999", "1,2.3"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, typed string) {
		if grams, ok := words.Thousandths(typed); ok && (grams < 0 || grams > 1_000_000_000) {
			t.Errorf("Thousandths(%q) = %d, outside what it promises", typed, grams)
		}
	})
}
