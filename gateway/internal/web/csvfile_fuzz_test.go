package web

import (
	"errors"
	"testing"
)

// FuzzRows feeds the reader of uploaded files with any bytes: every row it takes has every
// column of the header and a line of its own, in order; what it refuses names a line; and what
// the readers of slots and readings refuse names the row's line.
func FuzzRows(f *testing.F) {
	f.Add([]byte("slot_id,ready_date,phase,capacity_kg,request_cutoff\nq-1,2027-01-04,two,40000,2026-12-28T12:00:00Z\n"))
	f.Add([]byte("\ufeffprobe_id,kind,time,value\r\np1,ph,2026-11-20T08:00:00Z,-7.5\r\n"))
	f.Add([]byte("probe_id,kind,time,value\n\"p\n1\",ph,\"\",7\n"))
	f.Add([]byte("probe_id,kind,time,value\np1,ph,2026-11-20T08:0"))
	f.Add([]byte{0xff, 0xfe, ',', '\n'})
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, columns := range [][2][]string{{slotColumns, slotColumnsOf}, {readingColumns, readingColumnsOf}} {
			rows, err := readRows(text, columns[0], columns[1])
			var wrong *rowError
			if err != nil {
				if !errors.As(err, &wrong) || wrong.line < 1 {
					t.Fatalf("refused without a line: %v", err)
				}
				continue
			}
			last := 1
			for _, row := range rows {
				if row.line <= last {
					t.Fatalf("line %d after line %d", row.line, last)
				}
				last = row.line
				for _, name := range columns[0] {
					if _, ok := row.values[name]; !ok {
						t.Fatalf("line %d has no %s", row.line, name)
					}
				}
				_, asSlot := slotOf(row, "quarry-end")
				_, asReading := readingOf(row, "quarry-end-26-41")
				for _, err := range []error{asSlot, asReading} {
					if err != nil && (!errors.As(err, &wrong) || wrong.line != row.line) {
						t.Fatalf("line %d is refused as %v", row.line, err)
					}
				}
			}
		}
	})
}
