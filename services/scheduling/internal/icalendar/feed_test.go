package icalendar_test

import (
	"bytes"
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/icalendar"
	"breakshare.example/services/scheduling/internal/programme"
)

var stamp = time.Date(2026, 3, 1, 14, 5, 6, 0, time.UTC)

func event(summary string) icalendar.Event {
	day := calendar.On(2026, time.March, 30)
	return icalendar.Event{UID: "crop-1/casing@breakshare.example", Stamp: stamp, Sequence: 2, First: day, Until: day + 1, Summary: summary}
}

func write(t interface {
	Helper()
	Fatalf(string, ...any)
}, f icalendar.Feed) string {
	t.Helper()
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatalf("%v", err)
	}
	return b.String()
}

// unfold reads content lines back as RFC 5545 3.1 says, failing on whatever the
// RFC does not allow: a bare CR or LF, a line over 75 octets, a character cut in
// two, a control character.
func unfold(t interface {
	Helper()
	Fatalf(string, ...any)
}, text string) []string {
	t.Helper()
	if !strings.HasSuffix(text, "\r\n") {
		t.Fatalf("the last line has no CRLF")
	}
	var lines []string
	for _, raw := range strings.Split(strings.TrimSuffix(text, "\r\n"), "\r\n") {
		if len(raw) > 75 || !utf8.ValidString(raw) {
			t.Fatalf("line of %d octets, valid UTF-8 %v: %q", len(raw), utf8.ValidString(raw), raw)
		}
		for _, c := range raw {
			if (c < ' ' && c != '\t') || c == 0x7f {
				t.Fatalf("control character %U in %q", c, raw)
			}
		}
		if rest, folded := strings.CutPrefix(raw, " "); folded {
			lines[len(lines)-1] += rest
			continue
		}
		lines = append(lines, raw)
	}
	return lines
}

// unescape reads a TEXT value back (RFC 5545 3.3.11): backslash, semicolon, comma
// and line end stand behind a backslash and nowhere else.
func unescape(t interface {
	Helper()
	Fatalf(string, ...any)
}, v string) string {
	t.Helper()
	var b strings.Builder
	for i := 0; i < len(v); i++ {
		switch c := v[i]; {
		case c == '\\' && i+1 < len(v) && strings.IndexByte(`\;,`, v[i+1]) >= 0:
			i++
			b.WriteByte(v[i])
		case c == '\\' && i+1 < len(v) && (v[i+1] == 'n' || v[i+1] == 'N'):
			i++
			b.WriteByte('\n')
		case c == '\\' || c == ';' || c == ',':
			t.Fatalf("unescaped %q at %d of %q", c, i, v)
		default:
			b.WriteByte(c)
		}
	}
	return b.String()
}

func value(lines []string, name string) string {
	i := slices.IndexFunc(lines, func(l string) bool { return strings.HasPrefix(l, name+":") || strings.HasPrefix(l, name+";") })
	if i < 0 {
		return ""
	}
	_, v, _ := strings.Cut(lines[i], ":")
	return v
}

// What RFC 5545 asks of a calendar and its events: PRODID and VERSION 2.0 once,
// UID and DTSTAMP (in UTC) in each event, all-day as VALUE=DATE with DTEND the day
// after (3.4, 3.6.1, 3.8.2.2). Summary and location carry every character that
// needs escaping.
func TestFeedGolden(t *testing.T) {
	t.Parallel()
	got := write(t, icalendar.Feed{Name: "Hill farm; rooms 1, 2", Refresh: 4 * time.Hour, Events: []icalendar.Event{
		{
			UID: "crop-2/filling@breakshare.example", Stamp: stamp.In(time.FixedZone("", 3600)), First: calendar.On(2026, time.April, 2), Until: calendar.On(2026, time.April, 5),
			Summary: "Filling", Cancelled: true,
		},
		func() icalendar.Event {
			e := event(`Casing, room 2; peat \ lime`)
			e.Description, e.Location = "first line\r\nsecond line\nthird", "Pfifferlinghöhe, 川, room 2"
			return e
		}(),
	}})
	want, err := os.ReadFile("testdata/feed.ics")
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	unfold(t, got)
}

// Any text comes back as it was, but for control characters and line ends made
// one kind; lines never pass 75 octets and never cut a character.
func TestAnyTextSurvives(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) { checkText(t, rapid.String().Draw(t, "text")) })
}

func FuzzText(f *testing.F) {
	for _, s := range []string{
		"", "plain", `a\b;c,d:e"f`, "one\r\ntwo\nthree\rfour", strings.Repeat("川", 60), strings.Repeat("🍄 ", 50),
		strings.Repeat("x", 74) + " " + strings.Repeat("y", 80), " " + strings.Repeat("z", 200), "<" + strings.Repeat(">", 90), "\x00\x1b[31m\u0085\u200f\xff\xfe", `\n\\n\,`,
		"END:VEVENT\r\nBEGIN:VEVENT", strings.Repeat(" ", 200),
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) { checkText(t, s) })
}

func checkText(t interface {
	Helper()
	Fatalf(string, ...any)
}, s string) {
	t.Helper()
	e := event("x" + s)
	lines := unfold(t, write(t, icalendar.Feed{Name: "n" + s, Events: []icalendar.Event{e}}))
	if n := slices.Index(lines, "END:VEVENT"); n < 0 || slices.Index(lines[n+1:], "END:VEVENT") >= 0 {
		t.Fatalf("text broke the event out: %q", lines)
	}
	want := readable("x" + s)
	if got := unescape(t, value(lines, "SUMMARY")); got != want {
		t.Fatalf("summary %q came back as %q", want, got)
	}
	if got := unescape(t, value(lines, "NAME")); got != readable("n"+s) {
		t.Fatalf("name came back as %q", got)
	}
}

// readable is what may be kept of a text: written apart from the code under test,
// character by character.
func readable(s string) string {
	var b strings.Builder
	runes := []rune(strings.ToValidUTF8(s, "\ufffd"))
	for i, r := range runes {
		switch {
		case r == '\r' && i+1 < len(runes) && runes[i+1] == '\n':
		case r == '\r' || r == '\n' || r == 0x2028 || r == 0x2029:
			b.WriteByte('\n')
		case r == '\t' || (r >= 0x20 && r < 0x7f) || r >= 0xa0:
			b.WriteRune(r)
		}
	}
	return b.String()
}

func TestFeedDoesNotDependOnOrder(t *testing.T) {
	t.Parallel()
	a, b, c := event("a"), event("b"), event("c")
	a.UID, b.UID, c.First = "z", "a", c.First-3
	one := write(t, icalendar.Feed{Events: []icalendar.Event{a, b, c}})
	two := write(t, icalendar.Feed{Events: []icalendar.Event{c, b, a}})
	if one != two {
		t.Error("order of events changes the feed")
	}
	if first, last := strings.Index(one, "SUMMARY:c"), strings.Index(one, "SUMMARY:a"); first > last {
		t.Error("events are not by first day")
	}
	if empty := unfold(t, write(t, icalendar.Feed{Name: "quiet"})); value(empty, "VERSION") != "2.0" || value(empty, "PRODID") == "" {
		t.Errorf("empty feed %q", empty)
	}
}

func TestFeedRefuses(t *testing.T) {
	t.Parallel()
	for name, spoil := range map[string]func(*icalendar.Event){
		"no uid":               func(e *icalendar.Event) { e.UID = "" },
		"uid with line end":    func(e *icalendar.Event) { e.UID = "a\nb" },
		"ends before it is":    func(e *icalendar.Event) { e.Until = e.First },
		"no stamp":             func(e *icalendar.Event) { e.Stamp = time.Time{} },
		"negative sequence":    func(e *icalendar.Event) { e.Sequence = -1 },
		"only control summary": func(e *icalendar.Event) { e.Summary = "\x01 \x02" },
	} {
		e := event("fine")
		spoil(&e)
		var b bytes.Buffer
		var refused *icalendar.EventError
		if err := (icalendar.Feed{Events: []icalendar.Event{e}}).Write(&b); !errors.As(err, &refused) || b.Len() > 0 {
			t.Errorf("%s: error %v after %d bytes", name, err, b.Len())
		}
	}
	var refused *icalendar.EventError
	twice := icalendar.Feed{Events: []icalendar.Event{event("a"), event("b")}}
	if err := twice.Write(&bytes.Buffer{}); !errors.As(err, &refused) {
		t.Errorf("one UID twice: %v", err)
	}
}

// A crop's events keep their UIDs when the crop moves, and carry the cautions.
func TestCropEvents(t *testing.T) {
	t.Parallel()
	all, err := programme.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	p := all[slices.IndexFunc(all, func(p *programme.Programme) bool { return p.ID == "white-shelves" })]
	events := func(fill calendar.Date) []icalendar.Event {
		c, err := calendar.Compute(calendar.Crop{ID: "0198", Programme: p, Fill: fill}, nil)
		if err != nil {
			t.Fatal(err)
		}
		return icalendar.CropEvents(c, icalendar.CropLabel{Crop: p.Name, Room: "Hill farm, room 2", Stamp: stamp}, p)
	}
	uids := func(events []icalendar.Event) (out []string) {
		for _, e := range events {
			out = append(out, e.UID)
		}
		return out
	}
	march := calendar.On(2026, time.March, 2)
	before, after := events(march), events(march+4)
	if diff := cmp.Diff(uids(before), uids(after)); diff != "" {
		t.Errorf("UIDs changed with the move:\n%s", diff)
	}
	casing := before[slices.IndexFunc(before, func(e icalendar.Event) bool { return e.UID == "0198/casing@breakshare.example" })]
	if casing.Summary != "Casing: White mushroom on shelves" || casing.First.String() != "2026-03-30" || casing.Until.Sub(casing.First) != 1 {
		t.Errorf("casing %+v", casing)
	}
	if n := strings.Count(strings.Join(uids(before), " "), "/break-"); n != 4 {
		t.Errorf("%d breaks, want 4", n)
	}
	lines := unfold(t, write(t, icalendar.Feed{Name: "Hill farm", Events: before}))
	if !strings.Contains(strings.Join(lines, "\n"), "Steam and hot surfaces during cook-out") {
		t.Error("the caution of cook-out is not in the feed")
	}
}
