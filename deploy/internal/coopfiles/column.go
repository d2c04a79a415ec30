package coopfiles

import "strings"

// Column describes one column of a file, for people and for the reader.
type Column struct {
	// Name as it stands in the header line.
	Name string
	// Meaning in the trade's words, with the unit.
	Meaning string
	// Expected is the form of a value, for error texts.
	Expected string
	// Example is a value that is taken.
	Example string
	// MayBeEmpty allows a row to leave it out.
	MayBeEmpty bool
	// MayLack allows a file to leave the column out of its header.
	MayLack bool
	// Refers names the file whose first column this value comes from; empty for none.
	Refers string
}

// Table describes one file.
type Table struct {
	// File is its name in the folder, for example "farms.csv".
	File string
	// About says what a row is.
	About string
	// Needed files must be there; the others may be left out.
	Needed bool
	// MaxRows is how many rows one file may have.
	MaxRows int
	// Key names the columns that together may occur only once.
	Key []string
	// Columns in the order in which they are documented; a file may have them in any order.
	Columns []Column
}

func (t Table) names() string {
	names := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		names[i] = c.Name
	}
	return strings.Join(names, ", ")
}

// field is a column with the place its value goes to; set returns false for a value that
// is not of the expected form.
type field[R any] struct {
	Column
	set func(row *R, text string) bool
}

// optional lets rows leave the value out: the place then keeps its zero value.
func optional[R any](f field[R]) field[R] {
	f.MayBeEmpty = true
	return f
}

// lackable lets a file leave the column out; its rows then have the zero value.
func lackable[R any](f field[R]) field[R] {
	f.MayLack = true
	return f
}

// refers says that the value is the first column of another file.
func refers[R any](file string, f field[R]) field[R] {
	f.Refers = file
	return f
}

// table ties a Table to rows of type R.
type table[R any] struct {
	Table
	fields []field[R]
	// check says what is wrong between the columns of one row: the column and what is
	// expected, or "" for nothing.
	check func(row *R) (column, expected string)
}

func newTable[R any](t Table, check func(*R) (string, string), fields ...field[R]) table[R] {
	for _, f := range fields {
		t.Columns = append(t.Columns, f.Column)
	}
	if t.MaxRows == 0 {
		t.MaxRows = 10_000
	}
	return table[R]{Table: t, fields: fields, check: check}
}
