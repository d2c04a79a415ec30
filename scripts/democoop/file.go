package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"
	"time"
)

// file is one CSV file in the making.
type file struct{ rows [][]string }

// newFile begins a file with its header, names separated by commas.
func newFile(header string) *file { return &file{rows: [][]string{strings.Split(header, ",")}} }

// add appends a row; what is not text is written as it prints.
func (f *file) add(values ...any) {
	row := make([]string, len(values))
	for i, v := range values {
		switch v := v.(type) {
		case time.Time:
			row[i] = v.Format(time.RFC3339)
		default:
			row[i] = fmt.Sprint(v)
		}
	}
	f.rows = append(f.rows, row)
}

func (f *file) bytes() []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	for _, row := range f.rows {
		if len(row) != len(f.rows[0]) {
			panic(fmt.Sprintf("row %v does not fit the header %v", row, f.rows[0]))
		}
	}
	if err := w.WriteAll(f.rows); err != nil {
		panic(err) // a buffer takes everything
	}
	return b.Bytes()
}

// date is a calendar day as the files write it.
func date(t time.Time) string { return t.Format(time.DateOnly) }

// compact is a calendar day as codes carry it.
func compact(t time.Time) string { return t.Format("20060102") }

// after is the day so many days after t, before it where negative.
func after(t time.Time, days int) time.Time { return t.AddDate(0, 0, days) }
