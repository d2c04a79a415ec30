// Package config reads the one JSON file a process is configured by, strictly:
// a name that nobody reads, a name given twice or a value of the wrong type is
// refused with its line and column, because a setting that is silently ignored
// is worse than one that is missing. What the file leaves out keeps the value
// that was there before, so defaults are simply set beforehand.
package config

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// SyntaxError is a file that cannot be read into the settings.
type SyntaxError struct {
	File         string
	Line, Column int    // from 1; the column counts bytes
	Path         string // "harvest.postgres_url", empty at the top
	Problem      string // what is wrong and how to mend it
	Cause        error
}

// Error implements error: "breakshare.json:3:5: harvest.colour: …".
func (e *SyntaxError) Error() string {
	where := fmt.Sprintf("%s:%d:%d", e.File, e.Line, e.Column)
	if e.Path != "" {
		where += ": " + e.Path
	}
	return where + ": " + e.Problem
}

// Unwrap returns the cause.
func (e *SyntaxError) Unwrap() error { return e.Cause }

// Load reads the file into the struct that into points to and checks it; see
// Decode.
func Load(file string, into any) error {
	data, err := os.ReadFile(file)
	if err != nil {
		return fmt.Errorf("read the configuration: %w", err)
	}
	return Decode(file, data, into)
}

// Decode reads JSON data into the struct that into points to; file names the
// data in errors. It returns a *SyntaxError for data that does not fit and,
// when into is a Checker that objects, Problems.
func Decode(file string, data []byte, into any) error {
	if err := json.Unmarshal(data, into, json.RejectUnknownMembers(true)); err != nil {
		return syntaxError(file, data, err)
	}
	checker, ok := into.(Checker)
	if !ok {
		return nil
	}
	r := &Report{}
	checker.Check(r)
	if problems := r.Problems(); len(problems) > 0 {
		return fmt.Errorf("%s: %w", file, problems)
	}
	return nil
}

func syntaxError(file string, data []byte, err error) error {
	e := &SyntaxError{File: file, Line: 1, Column: 1, Problem: err.Error(), Cause: err}
	var semantic *json.SemanticError
	var syntactic *jsontext.SyntacticError
	switch {
	case errors.As(err, &semantic):
		e.Path, e.Problem = dotted(semantic.JSONPointer), semanticProblem(semantic)
		e.Line, e.Column = position(data, semantic.ByteOffset)
	case errors.As(err, &syntactic):
		e.Path, e.Problem = dotted(syntactic.JSONPointer), syntacticProblem(syntactic)
		e.Line, e.Column = position(data, syntactic.ByteOffset)
	}
	return e
}

func semanticProblem(err *json.SemanticError) string {
	switch {
	case errors.Is(err.Err, json.ErrUnknownName):
		return "no such setting; correct the name or remove it"
	case err.Err != nil:
		return err.Err.Error()
	default:
		return fmt.Sprintf("a JSON %s stands where %s is wanted", err.JSONKind, goKind(err))
	}
}

func syntacticProblem(err *jsontext.SyntacticError) string {
	if errors.Is(err.Err, jsontext.ErrDuplicateName) {
		return "given twice; keep one"
	}
	return "this is not JSON: " + err.Err.Error()
}

func goKind(err *json.SemanticError) string {
	if err.GoType == nil {
		return "something else"
	}
	return "a " + err.GoType.Kind().String()
}

// dotted turns a JSON pointer (RFC 6901) into the path people write.
func dotted(p jsontext.Pointer) string {
	var parts []string
	for token := range p.Tokens() {
		parts = append(parts, token)
	}
	return strings.Join(parts, ".")
}

// position finds line and column of the first value at or after the offset.
func position(data []byte, offset int64) (line, column int) {
	at := min(max(int(offset), 0), len(data))
	for at < len(data) && bytes.IndexByte([]byte(" \t\r\n,:"), data[at]) >= 0 {
		at++
	}
	before := data[:at]
	return 1 + bytes.Count(before, []byte("\n")), at - bytes.LastIndexByte(before, '\n')
}
