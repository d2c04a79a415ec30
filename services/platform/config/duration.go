package config

import (
	"fmt"
	"time"
)

// Duration is a length of time, written in JSON as text with a unit: "1.5s",
// "2m", "24h".
type Duration time.Duration

// Std returns d as the standard library's type.
func (d Duration) Std() time.Duration { return time.Duration(d) }

// String returns d as it is written.
func (d Duration) String() string { return time.Duration(d).String() }

// MarshalText implements encoding.TextMarshaler.
func (d Duration) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText implements encoding.TextUnmarshaler.
func (d *Duration) UnmarshalText(text []byte) error {
	v, err := time.ParseDuration(string(text))
	if err != nil {
		return fmt.Errorf("%q is no duration; write a number and a unit, such as \"1.5s\", \"2m\" or \"24h\"", text)
	}
	*d = Duration(v)
	return nil
}
