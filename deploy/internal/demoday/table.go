package demoday

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// width is how many columns a line may take.
const width = 100

// table is rows of cells under a head. Cells of columns that are numbers stand to the right;
// the last column is wrapped where the line would get too long.
type table struct {
	head    []string
	numbers map[int]bool
	rows    [][]string
}

func newTable(head ...string) *table { return &table{head: head, numbers: make(map[int]bool)} }

// right says which columns are numbers.
func (t *table) right(columns ...int) *table {
	for _, c := range columns {
		t.numbers[c] = true
	}
	return t
}

func (t *table) add(cells ...any) {
	row := make([]string, len(cells))
	for i, c := range cells {
		row[i] = fmt.Sprint(c)
	}
	t.rows = append(t.rows, row)
}

func (t *table) print(w io.Writer) {
	widths := make([]int, len(t.head))
	for _, row := range append([][]string{t.head}, t.rows...) {
		for i, cell := range row {
			widths[i] = max(widths[i], utf8.RuneCountInString(cell))
		}
	}
	last := len(widths) - 1
	before := 2 * last
	for _, n := range widths[:last] {
		before += n
	}
	widths[last] = min(widths[last], max(width-before-1, 20))
	rule := make([]string, len(widths))
	for i, n := range widths {
		rule[i] = strings.Repeat("-", n)
	}
	t.line(w, widths, t.head)
	t.line(w, widths, rule)
	for _, row := range t.rows {
		t.line(w, widths, row)
	}
}

// line prints one row, its last cell over as many lines as it needs.
func (t *table) line(w io.Writer, widths []int, row []string) {
	last := len(row) - 1
	for i, part := range wrap(row[last], widths[last]) {
		cells := make([]string, len(row))
		for c := range row {
			text := ""
			if c == last {
				text = part
			} else if i == 0 {
				text = row[c]
			}
			cells[c] = pad(text, widths[c], t.numbers[c])
		}
		fmt.Fprintln(w, strings.TrimRight(" "+strings.Join(cells, "  "), " "))
	}
}

func pad(text string, to int, right bool) string {
	blank := strings.Repeat(" ", max(0, to-utf8.RuneCountInString(text)))
	if right {
		return blank + text
	}
	return text + blank
}

// wrap breaks a text at spaces into lines of at most so many characters; a longer word
// stands alone. There is at least one line.
func wrap(text string, most int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > most {
			lines = append(lines, line)
			line = ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}
