// Package ids mints and recognises the identifiers of the suite: UUIDs as
// lower-case text (RFC 9562). Every row, event and request is named by one.
package ids

import (
	"fmt"

	"github.com/google/uuid"
)

// New returns a fresh version 7 UUID as 36 characters of lower-case text.
// Version 7 begins with the time in milliseconds, so ids minted later sort
// later and rows land at the end of an index (RFC 9562, section 5.7).
// It panics when the system cannot give random bytes: no id is safe then.
func New() string {
	id, err := uuid.NewV7()
	if err != nil {
		panic(fmt.Sprintf("ids: the system gives no random bytes: %v", err))
	}
	return id.String()
}

// Valid reports whether s is a UUID of any version in its canonical text
// form: 8-4-4-4-12 hexadecimal digits, either case (RFC 9562, section 4).
// Braces, a urn prefix and the form without hyphens are refused, so that one
// id has one spelling but for case.
func Valid(s string) bool {
	if len(s) != 36 {
		return false
	}
	return uuid.Validate(s) == nil
}
