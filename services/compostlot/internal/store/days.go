package store

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"breakshare.example/services/platform/pg"
)

// readDays returns days of readings by what follows FROM reading_day. A lot has up to 400,000
// readings, so the arrays are taken in PostgreSQL's own binary form and decoded in one loop,
// which costs a tenth of decoding them one number at a time.
func readDays(ctx context.Context, db pg.DB, what, rest string, args ...any) ([]Day, error) {
	rows, err := collect[struct {
		Probe
		Day                  time.Time
		Seconds, Thousandths []byte
	}](ctx, db, what, `SELECT lot_id, probe_id, kind, day, array_send(seconds), array_send(thousandths) FROM reading_day`+rest, args...)
	if err != nil {
		return nil, err
	}
	out := make([]Day, len(rows))
	for i, r := range rows {
		out[i] = Day{Probe: r.Probe, Day: r.Day}
		if out[i].Seconds, err = int4s(r.Seconds); err != nil {
			return nil, fmt.Errorf("%s: probe %s of lot %s on %s: seconds: %w", what, r.ProbeID, r.LotID, r.Day.Format(time.DateOnly), err)
		}
		if out[i].Thousandths, err = int4s(r.Thousandths); err != nil {
			return nil, fmt.Errorf("%s: probe %s of lot %s on %s: thousandths: %w", what, r.ProbeID, r.LotID, r.Day.Format(time.DateOnly), err)
		}
	}
	return out, nil
}

// The binary form of an array of integers: number of dimensions, whether there are nulls, the
// type of the elements, then size and lower bound of the one dimension; each element with its
// length before it (PostgreSQL, array_send in src/backend/utils/adt/arrayfuncs.c).
const (
	arrayHeader = 20
	element     = 8
)

// int4s decodes a one-dimensional array of four-byte integers without nulls.
func int4s(b []byte) ([]int32, error) {
	if len(b) < arrayHeader || binary.BigEndian.Uint32(b) != 1 || binary.BigEndian.Uint32(b[4:]) != 0 {
		return nil, errors.New("not an array of one dimension without nulls")
	}
	n := int(binary.BigEndian.Uint32(b[12:]))
	b = b[arrayHeader:]
	if len(b) != n*element {
		return nil, fmt.Errorf("%d bytes for %d integers", len(b), n)
	}
	out := make([]int32, n)
	for i := range out {
		if binary.BigEndian.Uint32(b[i*element:]) != 4 {
			return nil, fmt.Errorf("element %d is no four-byte integer", i+1)
		}
		out[i] = int32(binary.BigEndian.Uint32(b[i*element+4:]))
	}
	return out, nil
}
