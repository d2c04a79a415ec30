package web

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"breakshare.example/services/platform/fault"
)

// mostFile is the largest file of rows that is taken, in bytes.
const mostFile = 8 << 20

// csvRow is one row of an uploaded file: its line, counted from 1, and its values by column.
type csvRow struct {
	line   int
	values map[string]string
}

// uploaded reads an uploaded file of rows (CSV, RFC 4180, UTF-8): columns by name in any order,
// those needed and perhaps those optional. It is taken whole or not at all.
func (v *visit) uploaded(field string, needed, optional []string) ([]csvRow, error) {
	if v.r.PostForm != nil {
		v.r.PostForm.Set(field, "") // a field of the form, though not one that can be filled in again
	}
	file, head, err := v.r.FormFile(field)
	if errors.Is(err, http.ErrMissingFile) || errors.Is(err, http.ErrNotMultipart) {
		return nil, fault.InvalidField(field, "%s", v.words.T("file.none"))
	}
	if err != nil {
		return nil, fault.New(fault.Invalid, "FORM_UNREADABLE", "%s", v.words.T("problem.form")).WithCause(err)
	}
	defer file.Close()
	if head.Size > mostFile {
		return nil, fault.InvalidField(field, "%s", v.words.T("file.large"))
	}
	text, err := io.ReadAll(file)
	if err != nil {
		return nil, fault.New(fault.Invalid, "FORM_UNREADABLE", "%s", v.words.T("problem.form")).WithCause(err)
	}
	rows, err := readRows(text, needed, optional)
	if err != nil {
		return nil, v.wrongFile(field, err)
	}
	return rows, nil
}

// rowError is what is wrong with a row: the text's key and what it is filled with.
type rowError struct {
	line int
	key  string
	args []any
}

func (e *rowError) Error() string { return fmt.Sprintf("line %d: %s %v", e.line, e.key, e.args) }

// wrongFile says what is wrong with a file, and where.
func (v *visit) wrongFile(field string, err error) error {
	var row *rowError
	if errors.As(err, &row) {
		return fault.InvalidField(field, "%s", v.words.T("file.at", strconv.Itoa(row.line), v.words.T(row.key, row.args...)))
	}
	return err
}

// readRows reads rows under a header line. Its errors are *rowError.
func readRows(text []byte, needed, optional []string) ([]csvRow, error) {
	reader := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\ufeff"))))
	header, err := reader.Read()
	if err != nil {
		return nil, badCSV(err, 1)
	}
	for i, name := range header {
		header[i] = strings.TrimSpace(name)
		if !slices.Contains(needed, header[i]) && !slices.Contains(optional, header[i]) {
			return nil, &rowError{1, "file.unknown_column", []any{header[i], strings.Join(append(slices.Clone(needed), optional...), ", ")}}
		}
		if slices.Contains(header[:i], header[i]) {
			return nil, &rowError{1, "file.twice", []any{header[i]}}
		}
	}
	for _, name := range needed {
		if !slices.Contains(header, name) {
			return nil, &rowError{1, "file.missing_column", []any{name}}
		}
	}
	var rows []csvRow
	for {
		record, err := reader.Read()
		if errors.Is(err, io.EOF) {
			if len(rows) == 0 {
				return nil, &rowError{1, "file.empty", nil}
			}
			return rows, nil
		}
		line, _ := reader.FieldPos(0)
		if err != nil {
			return nil, badCSV(err, line)
		}
		row := csvRow{line: line, values: make(map[string]string, len(header))}
		for i, value := range record {
			row.values[header[i]] = strings.TrimSpace(value)
		}
		rows = append(rows, row)
	}
}

func badCSV(err error, line int) error {
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		line = parse.Line
	}
	return &rowError{max(1, line), "file.not_csv", nil}
}

// whole reads a whole number of a column, 0 or more; blank is 0.
func (r csvRow) whole(name string) (int64, error) {
	if r.values[name] == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(r.values[name], 10, 64)
	if err != nil || n < 0 {
		return 0, r.wrong(name)
	}
	return n, nil
}

// wrong says that a value is not what its column holds.
func (r csvRow) wrong(name string) error {
	return &rowError{r.line, "file.wrong_value", []any{name, r.values[name]}}
}

// placed turns a service's refusal of an element of a list into one of the file: "slots[3].x" is
// the line of the fourth row.
func (v *visit) placed(err error, field, list string, rows []csvRow) error {
	f := fault.From(err)
	for _, wrong := range f.Fields {
		number, rest, ok := strings.Cut(strings.TrimPrefix(wrong.Path, list+"["), "]")
		i, convErr := strconv.Atoi(number)
		if !ok || convErr != nil || i < 0 || i >= len(rows) {
			continue
		}
		return fault.InvalidField(field, "%s", v.words.T("file.refused", strconv.Itoa(rows[i].line), strings.Trim(rest, "."), wrong.Description))
	}
	return err
}
