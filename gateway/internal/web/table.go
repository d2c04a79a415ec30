package web

import (
	"cmp"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/text/collate"
	"golang.org/x/text/language"

	"breakshare.example/services/platform/fault"
)

// tablePart is how many rows of a table a page shows at once; the file has all of them.
const tablePart = 60

// table is rows that sort by any column and can be saved as CSV. A page makes one with its rows
// in their usual order and has visit.table finish it.
type table struct {
	ID      string // a slug, unique on the page
	Caption string // what the table tells, read out
	Columns []column
	Rows    [][]cell // one cell for each column; the first one heads its row

	// Method is how the page is asked for again, "get" or "post"; empty where it answers a form
	// that changed something.
	Method, Action string
	Kept           []keptField // what the page was asked with
	Parts, Part    int         // parts to leaf through, and the one shown, from 1
	All            int64       // rows of all parts
	Touched        bool        // the request asks for a part or an order of it
	whole          [][]cell
}

// column is one column: Key is its heading's text, Name what it is called in the file, with its
// unit.
type column struct {
	Key, Name string
	Figures   bool
	Unit      string // written after the heading
	Sorted    string // "ascending", "descending" or ""
}

// keptField is a field that leads back to the same page.
type keptField struct{ Name, Value string }

// table sorts a table as the request asks, keeps the part that is shown, and remembers all of it
// for the file.
func (v *visit) table(t *table) *table {
	by := v.r.FormValue("sort")
	t.Action, t.whole, t.All = v.r.URL.EscapedPath(), t.Rows, int64(len(t.Rows))
	switch {
	case v.r.Method != http.MethodPost:
		t.Method = "get"
	case v.replays:
		t.Method = "post"
	}
	for _, name := range sortedKeys(v.r.Form) {
		if name != "sort" && name != "as" && name != "table" && name != "part" {
			for _, value := range v.r.Form[name] {
				t.Kept = append(t.Kept, keptField{name, value})
			}
		}
	}
	if id, column, ok := strings.Cut(by, "."); ok && id == t.ID {
		t.sort(v, column)
		t.Kept, t.Touched = append(t.Kept, keptField{"sort", by}), true
	}
	t.Rows = t.whole
	t.Parts = (len(t.whole) + tablePart - 1) / tablePart
	if t.Parts > 1 {
		t.Part = 1
		if id, number, ok := strings.Cut(v.r.FormValue("part"), "."); ok && id == t.ID {
			t.Touched = true
			if n, err := strconv.Atoi(number); err == nil {
				t.Part = min(max(1, n), t.Parts)
			}
		}
		t.Rows = t.whole[(t.Part-1)*tablePart : min(t.Part*tablePart, len(t.whole))]
	}
	v.tables = append(v.tables, t)
	return t
}

// sort orders the rows by a column's name, descending with "-" before it, and rows that are alike
// as they were. Cells of which nothing is known come last.
func (t *table) sort(v *visit, by string) {
	name, down := strings.CutPrefix(by, "-")
	i := slices.IndexFunc(t.Columns, func(c column) bool { return c.Name == name })
	if i < 0 {
		return
	}
	t.Columns = slices.Clone(t.Columns)
	t.Columns[i].Sorted = "ascending"
	if down {
		t.Columns[i].Sorted = "descending"
	}
	order := collate.New(language.Make(v.words.Tag()), collate.Numeric)
	t.whole = slices.Clone(t.whole)
	slices.SortStableFunc(t.whole, func(a, b []cell) int {
		x, y := a[i], b[i]
		if x.blank || y.blank {
			return cmp.Compare(btoi(x.blank), btoi(y.blank))
		}
		c := cmp.Compare(x.figure, y.figure)
		if c == 0 {
			c = order.CompareString(x.order, y.order)
		}
		if down {
			return -c
		}
		return c
	})
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// By is the value that sorts by a column: the other way round where it is sorted already.
func (t *table) By(i int) string {
	if t.Columns[i].Sorted == "ascending" {
		return t.ID + ".-" + t.Columns[i].Name
	}
	return t.ID + "." + t.Columns[i].Name
}

// Wide tells that the table does not fit a phone: it scrolls in its box.
func (t *table) Wide() bool { return len(t.Columns) > 4 }

// Before and After are the parts beside the shown one; 0 where there is none.
func (t *table) Before() int { return max(0, t.Part-1) }

// After is the part after the shown one; 0 where there is none.
func (t *table) After() int {
	if t.Part >= t.Parts {
		return 0
	}
	return t.Part + 1
}

// First and Last are the numbers of the first and the last row that are shown.
func (t *table) First() int64 { return int64(max(0, t.Part-1)*tablePart + 1) }

// Last is the number of the last row that is shown.
func (t *table) Last() int64 { return t.First() + int64(len(t.Rows)) - 1 }

// cell is one value: as it is shown, as it sorts and as the file has it.
type cell struct {
	HTML   template.HTML
	Key    string // what a script sorts by, where that is not what is shown
	file   string
	plain  bool // the file's value is a figure or a date, which no program takes for a formula
	order  string
	figure int64
	blank  bool
}

// none is a cell of which nothing is known.
func none() cell { return cell{HTML: "–", blank: true, Key: "none"} }

// name is a text that somebody chose.
func name(s string) cell { return cell{HTML: isolated(s), file: s, order: s} }

// says is a text of the pages.
func (v *visit) says(key string, args ...any) cell {
	s := v.words.T(key, args...)
	return cell{HTML: template.HTML(template.HTMLEscapeString(s)), file: s, order: s}
}

// english is a text in a service's own words.
func english(s string) cell {
	return cell{HTML: `<span lang="en">` + template.HTML(template.HTMLEscapeString(s)) + `</span>`, file: s, order: s}
}

// code is an id or a code.
func code(s string) cell {
	return cell{HTML: `<span class="code">` + template.HTML(template.HTMLEscapeString(s)) + `</span>`, file: s, order: s}
}

func figure(n int64, shown string) cell {
	return cell{HTML: template.HTML(template.HTMLEscapeString(shown)), Key: plain(n), file: plain(n), plain: true, figure: n}
}

// count is a whole number.
func (v *visit) count(n int64) cell { return figure(n, v.words.Count(n)) }

// weight is a mass in grams; the file has grams.
func (v *visit) weight(grams int64) cell { return figure(grams, v.words.Weight(grams)) }

// wholeKg is a mass in whole kilograms; the file has kilograms.
func (v *visit) wholeKg(kg int64) cell { return figure(kg, v.words.Whole(kg)) }

// tonnes is a mass in kilograms, shown in tonnes; the file has kilograms.
func (v *visit) tonnes(kg int64) cell { return figure(kg, v.words.Tonnes(kg)) }

// money is minor units of the co-op's currency; the file has minor units.
func (v *visit) money(minor int64) cell {
	return figure(minor, v.words.Money(minor, v.coop.GetCurrencyCode()))
}

// date is a day, ISO 8601; the file has it as it is.
func (v *visit) date(day string) cell {
	if day == "" {
		return none()
	}
	return cell{HTML: template.HTML(template.HTMLEscapeString(v.words.ShortDay(day))), Key: day, file: day, plain: true, order: day}
}

// instant is a moment, shown in the co-op's time zone; the file has it in UTC, RFC 3339.
func (v *visit) instant(t time.Time) cell {
	at := t.UTC().Format(time.RFC3339)
	return cell{HTML: template.HTML(template.HTMLEscapeString(v.words.Instant(t, v.zone))), Key: at, file: at, plain: true, order: at}
}

// to makes a cell lead to an address of this host.
func (c cell) to(address string) cell {
	c.HTML = `<a href="` + template.HTML(template.HTMLEscapeString(address)) + `">` + c.HTML + `</a>`
	return c
}

// with puts what explains the value below it; a service's words are marked as such. Only the
// page has it.
func (c cell) with(note string) cell {
	if note != "" {
		c.Key = nameOr(c.Key, c.file)
		c.HTML += `<br><span class="why" lang="en">` + template.HTML(template.HTMLEscapeString(note)) + `</span>`
	}
	return c
}

// strong marks a value to be seen first.
func (c cell) strong() cell {
	c.HTML = "<b>" + c.HTML + "</b>"
	return c
}

// queryOf is the address of a page with some of its fields.
func queryOf(path string, pairs ...string) string {
	values := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			values.Set(pairs[i], pairs[i+1])
		}
	}
	if len(values) == 0 {
		return path
	}
	return path + "?" + values.Encode()
}

// tableAsked is the table that a request wants as a file: the first where it names none.
func (v *visit) tableAsked() (*table, error) {
	id := v.r.FormValue("table")
	for _, t := range v.tables {
		if id == "" || t.ID == id {
			return t, nil
		}
	}
	return nil, fault.New(fault.NotFound, "NO_TABLE", "%s", v.words.T("problem.no_table"))
}
