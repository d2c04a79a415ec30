package coopfiles

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"
)

// rowOf is a pointer to a row that knows its line.
type rowOf[R any] interface {
	*R
	at() *At
}

// sheet is what a file holds for the checks between files.
type sheet struct {
	table Table
	// header has the names of the columns that the file has.
	header []string
	// first maps each value of the first column to the line it first stands on.
	first map[string]int
	uses  []use
}

// use is one value of a referring column, at its first line.
type use struct {
	column, refers, value string
	line, more            int // more: further lines with the same value
}

// parse reads one file. Problems are in the collector; rows are returned only when there
// are none.
func parse[R any, P rowOf[R]](t table[R], in io.Reader) ([]R, *sheet, *collector) {
	c := &collector{file: t.File}
	s := &sheet{table: t.Table, first: make(map[string]int)}
	reader := csv.NewReader(withoutMark(in))
	reader.FieldsPerRecord = -1
	reader.ReuseRecord = true

	header, err := reader.Read()
	if errors.Is(err, io.EOF) {
		c.add(0, "", "is empty: the first line names the columns %s", t.names())
		return nil, s, c
	}
	if err != nil {
		c.unreadable(err)
		return nil, s, c
	}
	line, _ := reader.FieldPos(0)
	order, ok := matchHeader(t.Table, header, line, c)
	if !ok {
		return nil, s, c
	}
	s.header = slices.Clone(header)
	p := &parser[R, P]{table: t, order: order, sheet: s, problems: c, seen: make(map[string]int), used: make(map[use]int)}
	for {
		record, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			c.unreadable(err)
			break
		}
		line, _ := reader.FieldPos(0)
		if len(p.rows) == t.MaxRows {
			c.add(line, "", "is a row too many: this file takes %d in one import", t.MaxRows)
			break
		}
		p.row(line, record)
	}
	if c.total > 0 {
		return nil, s, c
	}
	return p.rows, s, c
}

// withoutMark skips the byte order mark that some programs put before UTF-8.
func withoutMark(in io.Reader) io.Reader {
	buffered := bufio.NewReader(in)
	if start, err := buffered.Peek(3); err == nil && string(start) == "\uFEFF" {
		_, _ = buffered.Discard(3)
	}
	return buffered
}

func (c *collector) unreadable(err error) {
	var broken *csv.ParseError
	if errors.As(err, &broken) {
		c.add(broken.StartLine, "", "is not CSV (RFC 4180): %v", broken.Err)
		return
	}
	c.add(0, "", "cannot be read: %v", err)
}

// matchHeader gives the place of each of the table's columns in a record.
func matchHeader(t Table, header []string, line int, c *collector) ([]int, bool) {
	order := make([]int, len(t.Columns))
	for i, column := range t.Columns {
		order[i] = slices.Index(header, column.Name)
		if order[i] < 0 && !column.MayLack {
			c.add(line, column.Name, "this column is missing: the first line names the columns %s", t.names())
		}
	}
	for i, name := range header {
		known := slices.ContainsFunc(t.Columns, func(column Column) bool { return column.Name == name })
		switch {
		case !known:
			c.add(line, shorten(name), "there is no such column in %s; its columns are %s", t.File, t.names())
		case slices.Contains(header[:i], name):
			c.add(line, name, "this column stands twice in the first line: leave one out")
		}
	}
	return order, c.total == 0
}

// parser turns the records of one file into rows.
type parser[R any, P rowOf[R]] struct {
	table    table[R]
	order    []int
	sheet    *sheet
	problems *collector
	rows     []R
	seen     map[string]int // key to its line
	used     map[use]int    // column and value to its place in sheet.uses
}

func (p *parser[R, P]) row(line int, record []string) {
	if width := len(p.sheet.header); len(record) != width {
		p.problems.add(line, "", "has %d values, expected %d: %s", len(record), width, strings.Join(p.sheet.header, ", "))
		return
	}
	before := p.problems.total
	var row R
	P(&row).at().Line = line
	for i, f := range p.table.fields {
		if p.order[i] < 0 {
			continue
		}
		p.cell(&row, f, line, record[p.order[i]])
	}
	if p.problems.total > before {
		p.rows = append(p.rows, row) // counted, never returned
		return
	}
	p.key(line, record)
	if p.table.check != nil {
		if column, expected := p.table.check(&row); column != "" {
			i := slices.IndexFunc(p.table.Columns, func(c Column) bool { return c.Name == column })
			p.problems.add(line, column, "found %s, expected %s", shorten(record[p.order[i]]), expected)
		}
	}
	p.rows = append(p.rows, row)
}

func (p *parser[R, P]) cell(row *R, f field[R], line int, text string) {
	switch {
	case !utf8.ValidString(text):
		p.problems.add(line, f.Name, "is not UTF-8: save the file as UTF-8")
	case text == "" && f.MayBeEmpty:
	case text == "":
		p.problems.add(line, f.Name, "is empty, expected %s, for example %s", f.Expected, f.Example)
	case !f.set(row, text):
		p.problems.add(line, f.Name, "found %s, expected %s, for example %s", shorten(text), f.Expected, f.Example)
	case f.Refers != "":
		what := use{column: f.Name, refers: f.Refers, value: text}
		if i, known := p.used[what]; known {
			p.sheet.uses[i].more++
			return
		}
		p.used[what] = len(p.sheet.uses)
		what.line = line
		p.sheet.uses = append(p.sheet.uses, what)
	}
}

// key refuses a second row with the key of an earlier one.
func (p *parser[R, P]) key(line int, record []string) {
	if id := record[p.order[0]]; p.sheet.first[id] == 0 {
		p.sheet.first[strings.Clone(id)] = line
	}
	if len(p.table.Key) == 0 {
		return
	}
	var parts []string
	for i, column := range p.table.Columns {
		if slices.Contains(p.table.Key, column.Name) {
			parts = append(parts, record[p.order[i]])
		}
	}
	key := strings.Join(parts, "\x00")
	if earlier, taken := p.seen[key]; taken {
		p.problems.add(line, p.table.Key[0], "%s stands on line %d already: give each %s once", shorten(strings.Join(parts, ", ")), earlier, strings.Join(p.table.Key, " with "))
		return
	}
	p.seen[key] = line
}

// shorten quotes what was found, cut where it is long.
func shorten(text string) string {
	const most = 60
	if runes := []rune(text); len(runes) > most {
		text = string(runes[:most]) + "…"
	}
	return fmt.Sprintf("%q", text)
}
