package web_test

import (
	"encoding/csv"
	"net/url"
	"slices"
	"strings"
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/services/platform/identity"
)

// fileOf is a table of a page as a file.
func fileOf(t *testing.T, p *page) [][]string {
	t.Helper()
	if kind := p.ok().header.Get("Content-Type"); kind != "text/csv; charset=utf-8; header=present" {
		t.Fatalf("%s is sent as %q", p.path, kind)
	}
	rows, err := csv.NewReader(strings.NewReader(p.text)).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", p.path, err)
	}
	return rows
}

// columnOf is a column of the table that is shown.
func columnOf(p *page, table string, column int) []string {
	var got []string
	for _, tr := range all(p.root, "#t-"+table+" tbody tr") {
		i := 0
		for c := range tr.ChildNodes() {
			if c.Data == "td" || c.Data == "th" {
				if i == column {
					got = append(got, words(c))
				}
				i++
			}
		}
	}
	return got
}

// Every table of every page can be sorted without a script, and saved.
func TestEveryTableSortsAndIsSaved(t *testing.T) {
	t.Parallel()
	outer := visit(t, identity.Identity{})
	for path, who := range places() {
		if path == "/start" || path == "/health" {
			continue
		}
		t.Run(path, func(t *testing.T) {
			r := outer.in(t)
			r.be(who)
			p := r.get(path).ok()
			for _, plain := range all(p.root, "table") {
				// A month is laid out by its days, and plans are set side by side.
				if !has(plain, "data-sorts") && attr(plain, "class") != "month" && !strings.Contains(words(plain), "Cost in all") {
					t.Errorf("a table of its own kind: %s", words(plain))
				}
			}
			for _, f := range all(p.root, "form.tablefoot") {
				asked := fields(f)
				id := asked.Get("table")
				asked.Set("as", "csv")
				at, _, _ := strings.Cut(attr(f, "action"), "#")
				rows := fileOf(t, r.get(at+"?"+asked.Encode()))
				if len(rows) < 2 || len(rows)-1 < len(all(p.root, "#t-"+id+" tbody tr")) {
					t.Errorf("the file of %s has %d lines", id, len(rows))
				}
				for _, button := range all(p.root, "button.sort") {
					if attr(button, "form") != "f-"+id {
						continue
					}
					sorted := fields(f)
					sorted.Set("sort", attr(button, "value"))
					if th := find(r.get(at+"?"+sorted.Encode()).ok().root, "#t-"+id+" th"); th == nil {
						t.Errorf("%s is gone after sorting by %s", id, attr(button, "value"))
					}
					if path != "/tomorrow" {
						break // all columns of one page stand for the others
					}
				}
			}
		})
	}
}

func TestTableSortsOnTheServer(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/tomorrow").ok()
	usual := columnOf(p, "lines", 2)
	up := columnOf(r.get("/tomorrow?sort=lines.ordered_packs").ok().says(`#t-lines th`, "Ordered"), "lines", 2)
	down := columnOf(r.get("/tomorrow?sort=lines.-ordered_packs").ok(), "lines", 2)
	if len(usual) < 3 || slices.Equal(up, down) {
		t.Fatalf("ordered %v, up %v, down %v", usual, up, down)
	}
	slices.Reverse(down)
	if !slices.Equal(up, down) {
		t.Errorf("up %v is not down %v the other way round", up, down)
	}
	// What is not known comes last either way.
	for _, by := range []string{"short_packs", "-short_packs"} {
		if got := columnOf(r.get("/tomorrow?sort=lines."+by).ok(), "lines", 4); got[0] == "–" || got[len(got)-1] != "–" {
			t.Errorf("sorted by %s: %v", by, got)
		}
	}
	for _, nonsense := range []string{"lines.nothing", "nothing.ordered_packs", ".", "lines.", "lines.-", "<script>"} {
		if got := columnOf(r.get("/tomorrow?sort="+url.QueryEscape(nonsense)).ok(), "lines", 2); !slices.Equal(got, usual) {
			t.Errorf("sorted by %q: %v", nonsense, got)
		}
	}
	for _, th := range all(r.get("/tomorrow?sort=lines.-ordered_packs").ok().root, "#t-lines th") {
		if want := map[bool]string{true: "descending"}[words(th) == "Ordered"]; attr(th, "scope") == "col" && attr(th, "aria-sort") != want {
			t.Errorf("%s is said to be sorted %q", words(th), attr(th, "aria-sort"))
		}
	}
}

// What a spreadsheet would run as a formula goes out as text, figures as figures; the form is RFC
// 4180's: CR and LF, quotes doubled.
func TestFilesAreSafeAndPlain(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator, func(c *fakecoop.Coop) {
		c.Customers[0].Name, c.Farms[0].Name = `=HYPERLINK("http://x","y")`, "@sum, \"quoted\"\nline"
		c.Customers[1].Name, c.Farms[1].Name = "  -1+1", "＝1"
	})
	lines := r.get("/tomorrow?as=csv&table=lines").ok()
	if !strings.HasPrefix(lines.text, "kitchen,product,ordered_packs,got_packs,short_packs\r\n") || strings.Count(lines.text, "\n") != strings.Count(lines.text, "\r\n") {
		t.Errorf("the file is %q", lines.text)
	}
	if !strings.Contains(lines.text, `"'=HYPERLINK(""http://x"",""y"")"`) || !strings.Contains(lines.text, "'  -1+1,") {
		t.Errorf("a formula goes out: %q", lines.text)
	}
	farms := fileOf(t, r.get("/tomorrow?as=csv&table=farms"))
	if farms[1][0] != "'@sum, \"quoted\"\nline" || farms[2][0] != "'＝1" {
		t.Errorf("farms %q", farms)
	}
	for _, row := range fileOf(t, r.get("/scores?as=csv&table=season"))[1:] {
		if strings.HasPrefix(row[3], "'") || strings.ContainsAny(row[1]+row[2]+row[3], " .,\u202f−") {
			t.Errorf("figures are written for people: %q", row)
		}
	}
	if p := r.get("/tomorrow?as=csv&table=none"); p.status != 404 {
		t.Errorf("a table that is not there answers %d", p.status)
	}
	if got := r.get("/tomorrow?as=csv&table=left").header.Get("Content-Disposition"); got != `attachment; filename="left.csv"` {
		t.Errorf("saved as %s", got)
	}
}

// A long table is shown in parts; the file and the order are of the whole.
func TestLongTablesComeInParts(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator, func(c *fakecoop.Coop) {
		c.Match.Lines = append(c.Match.Lines, slices.Repeat(c.Match.GetLines()[:1], 100)...)
	})
	p := r.get("/tomorrow").ok()
	n := len(r.coop.Match.GetLines())
	if got := len(columnOf(p, "lines", 0)); got != 60 {
		t.Errorf("%d rows are shown, want 60", got)
	}
	p.says("form.tablefoot", "1 to 60 of 10")
	if find(p.root, "#t-lines table") == nil || has(find(p.root, "#t-lines table"), "data-sorts") {
		t.Error("a script would sort what is only a part")
	}
	if got := len(columnOf(r.get("/tomorrow?part=lines.2&sort=lines.kitchen").ok(), "lines", 0)); got != n-60 {
		t.Errorf("the second part has %d rows of %d", got, n)
	}
	for _, part := range []string{"lines.99", "lines.-1", "lines.x", "lines"} {
		r.get("/tomorrow?part=" + part).ok()
	}
	if rows := fileOf(t, r.get("/tomorrow?as=csv&table=lines&part=lines.2")); len(rows) != n+1 {
		t.Errorf("the file has %d lines of %d", len(rows), n+1)
	}
}
