package web

import (
	"encoding/csv"
	"io"
	"net/http"
	"strings"
)

// formulaStarts are the characters with which a spreadsheet takes a text for a formula, the wide
// forms included (OWASP, CSV Injection; from memory).
const formulaStarts = "=+-@\t\r\n＝＋－＠"

// safe is a text that no spreadsheet runs: an apostrophe goes before what looks like a formula.
func safe(text string) string {
	if first := strings.TrimLeft(text, " "); first != "" && strings.ContainsAny(string([]rune(first)[:1]), formulaStarts) {
		return "'" + text
	}
	return text
}

// writeTo writes the whole table as RFC 4180 has it: a line that names the columns, lines that
// end with CR and LF, quotes where a value needs them. Days are ISO 8601, figures have neither
// grouping nor a unit: the column's name tells it.
func (t *table) writeTo(w io.Writer) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	line := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		line[i] = c.Name
	}
	if err := out.Write(line); err != nil {
		return err
	}
	for _, row := range t.whole {
		for i, c := range row {
			line[i] = c.file
			if !c.plain {
				line[i] = safe(c.file)
			}
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// sendTable sends a table as a file to save.
func sendTable(w http.ResponseWriter, t *table) {
	h := w.Header()
	h.Set("Content-Type", "text/csv; charset=utf-8; header=present")
	h.Set("Content-Disposition", `attachment; filename="`+t.ID+`.csv"`)
	h.Set("Cache-Control", "no-store")
	h.Set("X-Content-Type-Options", "nosniff")
	// The visitor may be gone; there is nobody left to tell.
	_ = t.writeTo(w)
}
