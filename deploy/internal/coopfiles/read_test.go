package coopfiles

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

const standingHeader = "standing_order_id,customer_id,product_id,weekdays,packs,smallest_packs,from_date,until_date,skip_dates\n"

const farmHeader = "farm_id,name,place,member_shares,carry_cost_minor_per_kg\n"

func TestReadTakesWhatRFC4180Allows(t *testing.T) {
	t.Parallel()
	want := []Farm{
		{At{2}, "alder", `Alder, "the old one"`, "", 120, 12},
		{At{3}, "birch", "Birch", "Reach", 1, 0},
	}
	for name, content := range map[string]string{
		"as documented":  farmHeader + "alder,\"Alder, \"\"the old one\"\"\",,120,12\nbirch,Birch,Reach,1,0\n",
		"CRLF":           strings.ReplaceAll(farmHeader+"alder,\"Alder, \"\"the old one\"\"\",,120,12\nbirch,Birch,Reach,1,0\n", "\n", "\r\n"),
		"no end of line": farmHeader + "alder,\"Alder, \"\"the old one\"\"\",,120,12\nbirch,Birch,Reach,1,0",
		"byte order mark": "\uFEFF" + farmHeader +
			"alder,\"Alder, \"\"the old one\"\"\",,120,12\nbirch,Birch,Reach,1,0\n",
		"all quoted": "\"farm_id\",\"name\",\"place\",\"member_shares\",\"carry_cost_minor_per_kg\"\n" +
			"\"alder\",\"Alder, \"\"the old one\"\"\",\"\",\"120\",\"12\"\n\"birch\",\"Birch\",\"Reach\",\"1\",\"0\"\n",
		"other order": "name,farm_id,carry_cost_minor_per_kg,place,member_shares\n" +
			"\"Alder, \"\"the old one\"\"\",alder,12,,120\nBirch,birch,0,Reach,1\n",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, err := Read(folder(t, map[string]string{"farms.csv": content}))
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got.Farms); diff != "" {
				t.Errorf("farms (-want +got):\n%s", diff)
			}
		})
	}
}

func TestReadRefusesByLineAndColumn(t *testing.T) {
	t.Parallel()
	for name, test := range map[string]struct{ file, content, want string }{
		"empty file":        {"farms.csv", "", "farms.csv: is empty: the first line names the columns farm_id, name, place"},
		"unknown column":    {"farms.csv", "farm_id,name,place,member_shares,carry_cost_minor_per_kg,colour\n", `farms.csv line 1, column "colour": there is no such column in farms.csv; its columns are farm_id,`},
		"missing column":    {"farms.csv", "farm_id,name,place,member_shares\n", "farms.csv line 1, column carry_cost_minor_per_kg: this column is missing"},
		"column twice":      {"farms.csv", "farm_id,name,place,member_shares,carry_cost_minor_per_kg,name\n", "farms.csv line 1, column name: this column stands twice"},
		"too few values":    {"farms.csv", farmHeader + "a,A,,1\n", "farms.csv line 2: has 4 values, expected 5"},
		"open quote":        {"farms.csv", farmHeader + "a,\"A,,1,1\n", "farms.csv line 2: is not CSV (RFC 4180)"},
		"not UTF-8":         {"farms.csv", farmHeader + "a,caf\xe9,,1,1\n", "farms.csv line 2, column name: is not UTF-8"},
		"empty value":       {"farms.csv", farmHeader + "a,,,1,1\n", "farms.csv line 2, column name: is empty, expected a text of 1 to 120 characters"},
		"capital in id":     {"farms.csv", farmHeader + "Alder,A,,1,1\n", `farms.csv line 2, column farm_id: found "Alder", expected 1 to 64 of a-z, 0-9 and hyphens`},
		"control character": {"farms.csv", farmHeader + "a,\"A\nB\",,1,1\n", `farms.csv line 2, column name: found "A\nB", expected a text`},
		"space around":      {"farms.csv", farmHeader + "a, A,,1,1\n", `farms.csv line 2, column name: found " A", expected a text`},
		"plus sign":         {"farms.csv", farmHeader + "a,A,,+1,1\n", `farms.csv line 2, column member_shares: found "+1", expected a whole number from 1 to 1000000, for example 120`},
		"too small":         {"farms.csv", farmHeader + "a,A,,0,1\n", `column member_shares: found "0"`},
		"beyond int64":      {"farms.csv", farmHeader + "a,A,,99999999999999999999,1\n", `column member_shares: found "99999999999999999999"`},
		"id twice":          {"farms.csv", farmHeader + "a,A,,1,1\nb,B,,1,1\na,C,,1,1\n", `farms.csv line 4, column farm_id: "a" stands on line 2 already`},
		"line after break":  {"farms.csv", farmHeader + "a,\"A \"\"x\"\"\",,1,1\nb,B,,x,1\n", "farms.csv line 3, column member_shares"},
		"no such day":       {"stages.csv", "crop_id,kind,date\na,casing,2026-02-30\n", `stages.csv line 2, column date: found "2026-02-30", expected a day of the calendar`},
		"unknown word":      {"stages.csv", "crop_id,kind,date\na,dancing,2026-02-03\n", `stages.csv line 2, column kind: found "dancing", expected one of filling, phase_two`},
		"no offset":         {"lot_marks.csv", "lot_id,mark,time\na,filled,2026-02-03T10:00:00\n", `lot_marks.csv line 2, column time: found "2026-02-03T10:00:00", expected an instant with its offset`},
		"both dates":        {"crops.csv", "crop_id,room_id,programme_id,fill_date,first_pick_date\na,r,p,2026-01-02,2026-03-02\n", `crops.csv line 2, column fill_date: found "2026-01-02", expected one of fill_date and first_pick_date`},
		"neither date":      {"crops.csv", "crop_id,room_id,programme_id,fill_date,first_pick_date\na,r,p,,\n", "crops.csv line 2, column fill_date"},
		"low above likely":  {"expected_picks.csv", "room_id,product_id,date,low_grams,likely_grams,high_grams\nr,p,2026-01-02,5,4,6\n", `expected_picks.csv line 2, column likely_grams: found "4"`},
		"tare over gross":   {"picks.csv", "room_id,product_id,date,gross_grams,tare_grams,crates,picker,break_number\nr,p,2026-01-02,5,5,1,,\n", "picks.csv line 2, column tare_grams"},
		"phase twice":       {"compost_requests.csv", "compost_request_id,farm_id,room_id,crop_id,wanted_kg,smallest_useful_kg,whole_fill,earliest_date,latest_date,phases\na,f,r,,5,5,yes,2026-01-02,2026-01-03,two+two\n", "compost_requests.csv line 2, column phases"},
		"four decimals":     {"readings.csv", "lot_id,probe_id,kind,time,value\na,p,ph,2026-02-03T10:00:00Z,7.1234\n", `readings.csv line 2, column value: found "7.1234"`},
		"kitchens stand":    {"standing_orders.csv", standingHeader + "s,k,p,monday,1,,2026-01-02,,\ns,l,q,monday,1,,2026-01-02,,\n", `standing_orders.csv line 3, column customer_id: found "l", expected "k" as on line 2`},
		"rests of two":      {"standing_orders.csv", standingHeader + "s,k,p,monday,1,,2026-01-02,,\ns,k,q,monday,1,,2026-01-02,,2026-01-05\n", `standing_orders.csv line 3, column skip_dates`},
		"no weekday":        {"standing_orders.csv", standingHeader + "s,k,p,monday+mon,1,,2026-01-02,,\n", `column weekdays: found "monday+mon", expected one or more of monday`},
		"useless":           {"standing_orders.csv", standingHeader + "s,k,p,monday,1,2,2026-01-02,,\n", `column smallest_packs: found "2", expected no more than packs`},
		"ends before":       {"standing_orders.csv", standingHeader + "s,k,p,monday,1,,2026-01-02,2026-01-01,\n", `column until_date: found "2026-01-01"`},
		"a day twice":       {"standing_orders.csv", standingHeader + "s,k,p,monday,1,,2026-01-02,,2026-01-05+2026-01-05\n", `column skip_dates: found "2026-01-05+2026-01-05"`},
		"no time of day":    {"ordering.csv", "cutoff_time,cutoff_days_before,horizon_days\n24:00,1,\n", `column cutoff_time: found "24:00", expected a time of day`},
		"days but no time":  {"ordering.csv", "cutoff_time,cutoff_days_before,horizon_days\n,1,\n", `column cutoff_time: found ""`},
		"order of two":      {"orders.csv", "order_id,customer_id,delivery_date,product_id,packs\no,k,2026-01-02,p,1\no,l,2026-01-02,q,1\n", `orders.csv line 3, column customer_id: found "l", expected k as on line 2`},
		"second co-op":      {"coop.csv", "coop_id,name,time_zone,currency_code\n0197f3c2-5b1e-7c44-9a10-3d2f6b8e4a57,A,UTC,EUR\n0197f3c2-5b1e-7c44-9a10-3d2f6b8e4a58,B,UTC,EUR\n", "coop.csv line 3: is a row too many: this file takes 1 in one import"},
		"no co-op":          {"coop.csv", "coop_id,name,time_zone,currency_code\n", "coop.csv: has no row"},
		"unknown zone":      {"coop.csv", "coop_id,name,time_zone,currency_code\n0197f3c2-5b1e-7c44-9a10-3d2f6b8e4a57,A,Europe/Nowhere,EUR\n", "coop.csv line 2, column time_zone"},
		"stranger":          {"farm.csv", farmHeader, "farm.csv: is no file of a co-op; they are coop.csv, farms.csv"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := Read(folder(t, map[string]string{test.file: test.content}))
			got := refusals(t, err)
			if len(got) != 1 || !strings.Contains(got[0], test.want) {
				t.Errorf("got %q, want one problem with %q", got, test.want)
			}
		})
	}
}

func TestReadTellsProblemsTogetherUpToALimit(t *testing.T) {
	t.Parallel()
	content := farmHeader
	for i := range MaxProblems + 7 {
		content += fmt.Sprintf("a%d,A,,zero,1\n", i)
	}
	_, err := Read(folder(t, map[string]string{"farms.csv": content, "yards.csv": "yard_id,name,place\n!,Y,\n"}))
	got := refusals(t, err)
	if want := MaxProblems + 2; len(got) != want {
		t.Fatalf("got %d problems, want %d:\n%s", len(got), want, strings.Join(got, "\n"))
	}
	if want := "farms.csv: and 7 more"; got[MaxProblems] != want {
		t.Errorf("got %q, want %q", got[MaxProblems], want)
	}
	if want := "yards.csv line 2, column yard_id"; !strings.HasPrefix(got[MaxProblems+1], want) {
		t.Errorf("got %q, want %q first", got[MaxProblems+1], want)
	}
}

func TestReadNeedsTheCoop(t *testing.T) {
	t.Parallel()
	_, err := Read(t.TempDir())
	if got := refusals(t, err); len(got) != 1 || !strings.HasPrefix(got[0], "coop.csv: is not there") {
		t.Errorf("got %q", got)
	}
	if _, err := Read("no such folder"); err == nil || strings.Contains(err.Error(), ".csv") {
		t.Errorf("got %v, want an error about the folder", err)
	}
}

// TestInstantsOfRFC3339 reads the examples of RFC 3339, section 5.8. Its leap seconds have no
// instant of their own in Go and are refused.
func TestInstantsOfRFC3339(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]time.Time{
		"1985-04-12T23:20:50.52Z":         time.Date(1985, 4, 12, 23, 20, 50, 520_000_000, time.UTC),
		"1996-12-19T16:39:57-08:00":       time.Date(1996, 12, 20, 0, 39, 57, 0, time.UTC),
		"1937-01-01T12:00:27.87+00:20":    time.Date(1937, 1, 1, 11, 40, 27, 870_000_000, time.UTC),
		"1990-12-31T23:59:60Z":            {},
		"1990-12-31 23:59:59Z":            {},
		"1985-04-12T23:20:50.52+00:00:00": {},
	} {
		var row LotMark
		field := lotMarkTable.fields[2]
		if ok := field.set(&row, text); ok != !want.IsZero() || ok && !row.Time.Equal(want) {
			t.Errorf("%s: got %v, %v; want %v", text, row.Time, ok, want)
		}
	}
}

func TestThousandths(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]int64{"58.2": 58200, "0": 0, "-0.5": -500, "7.125": 7125, "-12": -12000, "1000000": 1_000_000_000} {
		if got, ok := parseThousandths(text); !ok || got != want {
			t.Errorf("%s: got %d, %v; want %d", text, got, ok, want)
		}
	}
	for _, text := range []string{"", ".", "5.", ".5", "1,5", "1e3", "--1", "1.-5", "1.2345", "NaN", "99999999999999999999.1", "9999999999999999"} {
		if got, ok := parseThousandths(text); ok {
			t.Errorf("%q: got %d, want it refused", text, got)
		}
	}
}
