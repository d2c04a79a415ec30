package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Mark is an instant of a lot's making. Number is the PhaseMark of the contract.
type Mark struct {
	LotID  string
	Number int16
	Time   time.Time
}

// Marks returns the marks of lots, by lot and number.
func Marks(ctx context.Context, db pg.DB, lotIDs []string) ([]Mark, error) {
	return collect[Mark](ctx, db, "read marks",
		`SELECT lot_id, mark, time FROM lot_mark WHERE lot_id = ANY($1) ORDER BY lot_id, mark`, lotIDs)
}

// SaveMarks adds marks or moves them.
func SaveMarks(ctx context.Context, tx pgx.Tx, marks []Mark, by string, at time.Time) error {
	const sql = `INSERT INTO lot_mark (lot_id, mark, time, changed_by, changed_at) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (coop_id, lot_id, mark) DO UPDATE SET time = excluded.time, changed_by = excluded.changed_by, changed_at = excluded.changed_at`
	return each(ctx, tx, "save marks", sql, marks, func(m Mark) []any { return []any{m.LotID, m.Number, m.Time, by, at} })
}

// Probe names one series of readings of a lot. Kind is the ReadingKind of the contract.
type Probe struct {
	LotID, ProbeID string
	Kind           int16
}

// Calibration is what to add to a probe's values.
type Calibration struct {
	Probe
	OffsetThousandths int64
	Change
}

// Calibrations returns the calibrations of a lot's probes, by probe and kind.
func Calibrations(ctx context.Context, db pg.DB, lotID string) ([]Calibration, error) {
	const sql = `SELECT lot_id, probe_id, kind, offset_thousandths, version, changed_by, changed_at FROM probe_calibration
		WHERE lot_id = $1 ORDER BY probe_id, kind`
	return collect[Calibration](ctx, db, "read calibrations", sql, lotID)
}

// SaveCalibration adds or changes a calibration; the caller holds the lot.
func SaveCalibration(ctx context.Context, tx pgx.Tx, c Calibration) error {
	const sql = `INSERT INTO probe_calibration (lot_id, probe_id, kind, offset_thousandths, version, changed_by, changed_at) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (coop_id, lot_id, probe_id, kind) DO UPDATE SET offset_thousandths = excluded.offset_thousandths,
			version = excluded.version, changed_by = excluded.changed_by, changed_at = excluded.changed_at`
	return each(ctx, tx, "save calibration", sql, []Calibration{c}, func(c Calibration) []any {
		return []any{c.LotID, c.ProbeID, c.Kind, c.OffsetThousandths, c.Version, c.By, c.At}
	})
}

// Day is the readings of one probe on one UTC day, in columns by ascending second.
type Day struct {
	Probe
	Day         time.Time
	Seconds     []int32 // since midnight UTC, 0 to 86,399
	Thousandths []int32 // of the kind's unit, as the probe gave them
}

// Days returns all readings of a lot, by probe, kind and day.
func Days(ctx context.Context, db pg.DB, lotID string) ([]Day, error) {
	return readDays(ctx, db, "read readings", ` WHERE lot_id = $1 ORDER BY probe_id, kind, day`, lotID)
}

// DaysOf returns those of the wanted days that have readings. Only probe and day of the
// wanted count; the caller holds the lots.
func DaysOf(ctx context.Context, tx pgx.Tx, wanted []Day) ([]Day, error) {
	lots, probes := make([]string, len(wanted)), make([]string, len(wanted))
	kinds, days := make([]int16, len(wanted)), make([]time.Time, len(wanted))
	for i, d := range wanted {
		lots[i], probes[i], kinds[i], days[i] = d.LotID, d.ProbeID, d.Kind, d.Day
	}
	const wantedDays = ` JOIN unnest($1::text[], $2::text[], $3::smallint[], $4::date[]) AS w (lot_id, probe_id, kind, day) USING (lot_id, probe_id, kind, day)`
	return readDays(ctx, tx, "read readings of days", wantedDays, lots, probes, kinds, days)
}

// SaveDays writes days whole.
func SaveDays(ctx context.Context, tx pgx.Tx, days []Day) error {
	const sql = `INSERT INTO reading_day (lot_id, probe_id, kind, day, seconds, thousandths) VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (coop_id, lot_id, probe_id, kind, day) DO UPDATE SET seconds = excluded.seconds, thousandths = excluded.thousandths`
	return each(ctx, tx, "save readings", sql, days, func(d Day) []any {
		return []any{d.LotID, d.ProbeID, d.Kind, d.Day, d.Seconds, d.Thousandths}
	})
}

// Logged is what a probe has logged of a lot.
type Logged struct {
	Probe
	Readings        int64
	FirstAt, LastAt time.Time
}

// LoggedBy returns what each probe of a lot has logged, by probe and kind.
func LoggedBy(ctx context.Context, db pg.DB, lotID string) ([]Logged, error) {
	const sql = `SELECT lot_id, probe_id, kind, sum(readings),
			min(day + make_interval(secs => seconds[1])) AT TIME ZONE 'UTC',
			max(day + make_interval(secs => seconds[readings])) AT TIME ZONE 'UTC'
		FROM reading_day WHERE lot_id = $1 GROUP BY lot_id, probe_id, kind ORDER BY probe_id, kind`
	return collect[Logged](ctx, db, "what probes logged", sql, lotID)
}

// DaysBetween returns the readings of a lot of some kinds (none: all) on the days from one to
// another, by probe, kind and day.
func DaysBetween(ctx context.Context, db pg.DB, lotID string, kinds []int16, from, to time.Time) ([]Day, error) {
	const where = ` WHERE lot_id = $1 AND (cardinality($2::smallint[]) = 0 OR kind = ANY($2)) AND day BETWEEN $3 AND $4 ORDER BY probe_id, kind, day`
	if kinds == nil {
		kinds = []int16{}
	}
	return readDays(ctx, db, "read readings of days", where, lotID, kinds, from, to)
}

// ReadingSpan returns the first and last day on which a lot has readings of some kinds (none:
// all); ok is false where there are none.
func ReadingSpan(ctx context.Context, db pg.DB, lotID string, kinds []int16) (first, last time.Time, ok bool, err error) {
	rows, err := collect[struct{ First, Last *time.Time }](ctx, db, "span of readings",
		`SELECT min(day), max(day) FROM reading_day WHERE lot_id = $1 AND (cardinality($2::smallint[]) = 0 OR kind = ANY($2))`, lotID, append([]int16{}, kinds...))
	if err != nil || rows[0].First == nil {
		return first, last, false, err
	}
	return *rows[0].First, *rows[0].Last, true, nil
}
