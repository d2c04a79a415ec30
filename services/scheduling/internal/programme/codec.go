package programme

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
)

// FormatError is a programme text that could not be read at all.
type FormatError struct {
	Line, Column int // 1-based; where reading stopped
	Detail       string
}

// Error says where and why.
func (e *FormatError) Error() string {
	return fmt.Sprintf("crop programme, line %d column %d: %s", e.Line, e.Column, e.Detail)
}

// Decode reads one programme from JSON and validates it. A field the form does
// not know is refused, so that a slip in a name cannot lose a value. Errors:
// *FormatError, *InvalidError.
func Decode(text []byte) (*Programme, error) {
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.DisallowUnknownFields()
	var p Programme
	if err := dec.Decode(&p); err != nil {
		return nil, formatError(text, dec.InputOffset(), err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return nil, formatError(text, dec.InputOffset(), errors.New("something follows the programme; one programme per text"))
	}
	if err := p.Validate(); err != nil {
		return nil, err
	}
	return &p, nil
}

// Encode writes the programme as indented JSON that Decode reads back equal.
func (p *Programme) Encode() ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(p); err != nil {
		return nil, fmt.Errorf("write crop programme %q: %w", p.ID, err)
	}
	return b.Bytes(), nil
}

func formatError(text []byte, offset int64, err error) *FormatError {
	var syntax *json.SyntaxError
	var mistyped *json.UnmarshalTypeError
	detail := err.Error()
	switch {
	case errors.As(err, &syntax):
		offset = syntax.Offset
	case errors.Is(err, io.ErrUnexpectedEOF):
		offset = int64(len(text))
		detail = "the text ends before the programme does"
	case errors.As(err, &mistyped):
		offset = mistyped.Offset
		detail = fmt.Sprintf("field %q cannot hold a %s; expected %s", mistyped.Field, mistyped.Value, mistyped.Type)
	}
	// encoding/json gives an unknown field no offset; its first mention does.
	if name, ok := strings.CutPrefix(detail, "json: unknown field "); ok {
		offset = int64(max(bytes.Index(text, []byte(name)), 0))
		detail = "unknown field " + name + "; see the form of a built-in programme"
	}
	before := text[:min(max(offset, 0), int64(len(text)))]
	return &FormatError{
		Line:   bytes.Count(before, []byte("\n")) + 1,
		Column: len(before) - bytes.LastIndexByte(before, '\n'),
		Detail: detail,
	}
}
