package intake

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math/big"
	"regexp"
	"strings"
	"time"
)

// mostValues is the most readings of one message.
const mostValues = 1000

// Value is one reading of a message.
type Value struct {
	Time time.Time // UTC
	// Text is the value as the instrument wrote it, a decimal number.
	Text string
}

// parsePayload reads a payload; at is when the bus took the message, the time
// of a plain number.
func parsePayload(payload []byte, at time.Time) ([]Value, error) {
	text := bytes.TrimSpace(payload)
	switch {
	case len(text) == 0:
		return nil, errors.New("the payload is empty: send a number, or an object with time and value")
	case text[0] == '[':
		var raw []json.RawMessage
		if err := json.Unmarshal(text, &raw); err != nil {
			return nil, fmt.Errorf("the payload is no list of readings (%v)", err)
		}
		if len(raw) == 0 || len(raw) > mostValues {
			return nil, fmt.Errorf("the payload lists %d readings: send 1 to %d", len(raw), mostValues)
		}
		out := make([]Value, len(raw))
		for i, r := range raw {
			v, err := parseObject(r)
			if err != nil {
				return nil, fmt.Errorf("reading %d: %w", i+1, err)
			}
			out[i] = v
		}
		return out, nil
	case text[0] == '{':
		v, err := parseObject(text)
		return []Value{v}, err
	default:
		if err := checkNumber(string(text)); err != nil {
			return nil, err
		}
		return []Value{{Time: at.UTC(), Text: string(text)}}, nil
	}
}

// parseObject reads {"time": …, "value": …}; other members are an instrument's
// own affair.
func parseObject(text []byte) (Value, error) {
	var o struct {
		Time  *string      `json:"time"`
		Value *json.Number `json:"value"`
	}
	if err := json.Unmarshal(text, &o); err != nil {
		return Value{}, fmt.Errorf(`no object of the form {"time": "2026-03-02T06:30:00Z", "value": 58.2} (%v)`, err)
	}
	if o.Time == nil || o.Value == nil {
		return Value{}, errors.New(`"time" or "value" is missing: send both, or a plain number for the present moment`)
	}
	at, err := time.Parse(time.RFC3339Nano, *o.Time)
	if err != nil {
		return Value{}, fmt.Errorf("time %q is not of the form 2026-03-02T06:30:00Z", *o.Time)
	}
	if err := checkNumber(o.Value.String()); err != nil {
		return Value{}, err
	}
	return Value{Time: at.UTC(), Text: o.Value.String()}, nil
}

// number is a decimal, also as instruments print very small ones.
var number = regexp.MustCompile(`^[-+]?[0-9]{1,12}(\.[0-9]{1,20})?([eE][-+]?[0-9]{1,2})?$`)

func checkNumber(text string) error {
	if !number.MatchString(text) {
		return fmt.Errorf("%.40q is no decimal number such as 58.2", text)
	}
	return nil
}

// Scaled is the value in whole parts of its unit, for example thousandths with
// parts 1000, rounded half away from zero. It fails for a value outside of
// ±1,000,000,000 parts, which no instrument means.
func (v Value) Scaled(parts int64) (int64, error) {
	r, ok := new(big.Rat).SetString(strings.TrimPrefix(v.Text, "+"))
	if !ok {
		return 0, fmt.Errorf("%.40q is no decimal number", v.Text)
	}
	r.Mul(r, new(big.Rat).SetInt64(parts))
	half := big.NewRat(1, 2)
	if r.Sign() < 0 {
		half.Neg(half)
	}
	r.Add(r, half)
	whole := new(big.Int).Quo(r.Num(), r.Denom()) // towards zero
	if !whole.IsInt64() || whole.Int64() > 1_000_000_000 || whole.Int64() < -1_000_000_000 {
		return 0, fmt.Errorf("%s is no value that an instrument means", v.Text)
	}
	return whole.Int64(), nil
}
