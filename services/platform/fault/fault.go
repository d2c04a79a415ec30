// Package fault is the suite's one language for errors that cross a process:
// what kind of error it is, which field is wrong, and what a program may key
// on. It owns the one table between kinds, gRPC codes and HTTP statuses, and
// turns errors into gRPC statuses with google.rpc details and back. Domain
// packages have typed errors of their own; each service's server words them
// as faults.
package fault

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Field is one violation: what is wrong where.
type Field struct {
	// Path leads to the field as the caller knows it: "expected[2].grams".
	// For a Precondition it is the subject: "lot 2025-031".
	Path string
	// Description says what is wrong and how to mend it.
	Description string
}

// Error is an error that knows what the caller can do about it. The zero
// value is an Internal error.
type Error struct {
	Kind Kind
	// Reason is what programs key on: UPPER_SNAKE_CASE, at most 63
	// characters, constant (google.rpc.ErrorInfo). Empty stands for the
	// kind's own name.
	Reason string
	// Message tells a person what is wrong, where, and how to mend it. That
	// of an Internal error stays on the server.
	Message string
	// Fields are the violations, in the order they were found.
	Fields []Field
	// Meta adds facts to Reason: ids, limits, the state found. Keys are
	// lowerCamelCase.
	Meta map[string]string
	// Cause is the error underneath, for logs and errors.Is; it is never
	// shown to the caller.
	Cause error
}

// New returns an error of the kind with a formatted message. A %w in format is
// not understood; use WithCause.
func New(kind Kind, reason, format string, args ...any) *Error {
	return &Error{Kind: kind, Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// ReasonInvalidField is the reason of every InvalidField.
const ReasonInvalidField = "INVALID_FIELD"

// InvalidField returns an Invalid error about one field. The message names the
// field; more fields can follow by WithField.
func InvalidField(path, format string, args ...any) *Error {
	description := fmt.Sprintf(format, args...)
	return &Error{
		Kind: Invalid, Reason: ReasonInvalidField,
		Message: path + ": " + description,
		Fields:  []Field{{path, description}},
	}
}

// Error returns the message, the kind before it and the cause behind it: the
// text for logs, not for the caller.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Kind.String())
	if e.Message != "" {
		b.WriteString(": " + e.Message)
	}
	if e.Cause != nil {
		b.WriteString(": " + e.Cause.Error())
	}
	return b.String()
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Cause }

// WithField returns a copy with one more violation.
func (e *Error) WithField(path, format string, args ...any) *Error {
	c := e.clone()
	c.Fields = append(c.Fields, Field{path, fmt.Sprintf(format, args...)})
	return c
}

// WithMeta returns a copy with one more fact, in place of any of that key.
func (e *Error) WithMeta(key, value string) *Error {
	c := e.clone()
	if c.Meta == nil {
		c.Meta = map[string]string{}
	}
	c.Meta[key] = value
	return c
}

// WithCause returns a copy with err underneath.
func (e *Error) WithCause(err error) *Error {
	c := e.clone()
	c.Cause = err
	return c
}

// clone copies e so deeply that changing the copy leaves e alone: a fault may
// be a package variable shared by many calls.
func (e *Error) clone() *Error {
	c := *e
	c.Fields = slices.Clone(e.Fields)
	c.Meta = maps.Clone(e.Meta)
	return &c
}

// KindOf returns the kind of any error, through any wrapping. An error that
// nobody sorted is Internal, and so is nil, which has no kind.
func KindOf(err error) Kind {
	if err == nil {
		return Internal
	}
	return From(err).Kind
}

// From sorts any error: a fault anywhere in its chain is returned as it is, a
// gRPC status is read as FromStatus does, the two errors of package context
// become Deadline and Cancelled, and all else is Internal with err as the
// cause. From(nil) is nil.
func From(err error) *Error {
	if err == nil {
		return nil
	}
	var e *Error
	if errors.As(err, &e) && e != nil {
		return e
	}
	if st := statusOf(err); st != nil {
		return fromStatus(st, err)
	}
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return plain(Deadline, err)
	case errors.Is(err, context.Canceled):
		return plain(Cancelled, err)
	default:
		return plain(Internal, err)
	}
}

// plain is an error nobody worded: the kind's own sentence, err underneath.
func plain(k Kind, err error) *Error {
	return &Error{Kind: k, Reason: k.reason(), Message: table[k].text, Cause: err}
}

// reason is the kind's name as a reason: "NOT_FOUND".
func (k Kind) reason() string {
	return strings.ToUpper(strings.ReplaceAll(k.String(), " ", "_"))
}
