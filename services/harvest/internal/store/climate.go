package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/climate"
	"breakshare.example/services/harvest/internal/growth"
	"breakshare.example/services/platform/pg"
)

// StepLimits are the limits of a programme by step and kind.
type StepLimits map[growth.Step]map[climate.Kind]climate.Limit

// Limits are the limits of one version of a programme.
type Limits struct {
	ProgrammeID string
	Version     int32
	Steps       StepLimits
}

// SaveLimits keeps the limits of a version of a programme, which never change.
func SaveLimits(ctx context.Context, db pg.DB, l Limits) error {
	const sql = `INSERT INTO programme_climate (programme_id, version, limits) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING`
	_, err := db.Exec(ctx, sql, l.ProgrammeID, l.Version, l.Steps)
	return wrap("save the climate limits of programme "+l.ProgrammeID, err)
}

// AllLimits returns all limits known, by programme and version.
func AllLimits(ctx context.Context, db pg.DB) ([]Limits, error) {
	list, err := collect(ctx, db, pgx.RowToStructByPos[Limits], `SELECT programme_id, version, limits FROM programme_climate ORDER BY programme_id, version`)
	return list, wrap("read the climate limits", err)
}

// ClimateReading is a measurement in a room.
type ClimateReading struct {
	RoomID string
	Kind   climate.Kind
	Time   time.Time
	Value  int64
}

// AddClimate writes readings and returns how many are new. One of the same room,
// kind and moment stays as it is, of several in the list the first. checked says
// up to when the rooms were checked (see Checked), under LockClimate: where all
// readings are later, as they are from an instrument, nothing needs to be looked
// for.
func AddClimate(ctx context.Context, db pg.DB, list []ClimateReading, checked map[Sensor]time.Time) (taken int64, err error) {
	// The co-op is read once for all rows.
	const sql = `
		INSERT INTO climate_reading (coop_id, room_id, kind, time, value)
		SELECT (SELECT current_setting('breakshare.coop')::uuid), r.* FROM unnest($1::text[], $2::smallint[], $3::timestamptz[], $4::int[]) r`
	// As the index has them: neighbours go in together.
	list = slices.SortedStableFunc(slices.Values(list), func(a, b ClimateReading) int {
		return cmp.Or(cmp.Compare(a.RoomID, b.RoomID), cmp.Compare(a.Kind, b.Kind), a.Time.Compare(b.Time))
	})
	list = slices.CompactFunc(list, func(a, b ClimateReading) bool {
		return a.RoomID == b.RoomID && a.Kind == b.Kind && a.Time.Equal(b.Time)
	})
	insert := sql
	if slices.ContainsFunc(list, func(r ClimateReading) bool { return !r.Time.After(checked[Sensor{r.RoomID, r.Kind}]) }) {
		insert += ` ON CONFLICT DO NOTHING`
	}
	tag, err := db.Exec(ctx, insert,
		column(list, func(r ClimateReading) string { return r.RoomID }),
		column(list, func(r ClimateReading) int16 { return int16(r.Kind) }),
		column(list, func(r ClimateReading) time.Time { return r.Time }),
		column(list, func(r ClimateReading) int32 { return int32(r.Value) }))
	return tag.RowsAffected(), wrap("add readings of rooms", err)
}

// ClimateOfRoom returns the readings of a room from a moment until before
// another, by kind and time.
func ClimateOfRoom(ctx context.Context, db pg.DB, roomID string, from, until time.Time) ([]ClimateReading, error) {
	const sql = `
		SELECT room_id, kind, time, value::bigint FROM climate_reading
		WHERE room_id = $1 AND time >= $2 AND time < $3 ORDER BY kind, time`
	list, err := collect(ctx, db, pgx.RowToStructByPos[ClimateReading], sql, roomID, from, until)
	return list, wrap("read the climate of room "+roomID, err)
}

// LockClimate lets one at a time check the climate of the rooms, until the
// transaction ends. Rooms are locked in order.
func LockClimate(ctx context.Context, tx pgx.Tx, rooms []string) error {
	const sql = `
		SELECT pg_advisory_xact_lock($1, hashtext(current_setting('breakshare.coop') || r))
		FROM (SELECT r FROM unnest($2::text[]) AS r ORDER BY hashtext(current_setting('breakshare.coop') || r)) s`
	_, err := tx.Exec(ctx, sql, genealogyLock+3, rooms)
	return wrap("lock the climate of rooms", err)
}

// Sensor is a kind of measurement in a room.
type Sensor struct {
	RoomID string
	Kind   climate.Kind
}

// Checked returns up to when the readings of the rooms were checked.
func Checked(ctx context.Context, db pg.DB, rooms []string) (map[Sensor]time.Time, error) {
	rows, err := db.Query(ctx, `SELECT room_id, kind, until FROM climate_checked WHERE room_id = ANY($1)`, rooms)
	if err != nil {
		return nil, fmt.Errorf("read up to when rooms were checked: %w", err)
	}
	out := map[Sensor]time.Time{}
	var s Sensor
	var until time.Time
	_, err = pgx.ForEachRow(rows, []any{&s.RoomID, &s.Kind, &until}, func() error {
		out[s] = until
		return nil
	})
	return out, wrap("read up to when rooms were checked", err)
}

// SaveChecked notes up to when readings were checked.
func SaveChecked(ctx context.Context, db pg.DB, sensors []Sensor, until []time.Time) error {
	const sql = `
		INSERT INTO climate_checked (room_id, kind, until)
		SELECT * FROM unnest($1::text[], $2::smallint[], $3::timestamptz[])
		ON CONFLICT (coop_id, room_id, kind) DO UPDATE SET until = greatest(climate_checked.until, excluded.until)`
	_, err := db.Exec(ctx, sql, column(sensors, func(s Sensor) string { return s.RoomID }), column(sensors, func(s Sensor) int16 { return int16(s.Kind) }), until)
	return wrap("note up to when rooms were checked", err)
}

// Alert is an alert of a room.
type Alert struct {
	climate.Alert
	RoomID, FarmID string
	Kind           climate.Kind
}

const alertColumns = `alert_id, room_id, farm_id, kind, crop_id, step, least, most, since, last, last_value, worst, cleared_at`

func scanAlert(row pgx.CollectableRow) (a Alert, err error) {
	s := &a.Setting
	err = row.Scan(&a.ID, &a.RoomID, &a.FarmID, &a.Kind, &s.CropID, &s.Step, &s.Limit.Least, &s.Limit.Most, &a.Since, &a.Last, &a.LastValue, &a.Worst, &a.Cleared)
	return a, err
}

// OpenAlerts returns the open alerts of the rooms.
func OpenAlerts(ctx context.Context, db pg.DB, rooms []string) (map[Sensor]Alert, error) {
	list, err := collect(ctx, db, scanAlert, `SELECT `+alertColumns+` FROM climate_alert WHERE cleared_at IS NULL AND room_id = ANY($1)`, rooms)
	if err != nil {
		return nil, wrap("read the open alerts", err)
	}
	out := map[Sensor]Alert{}
	for _, a := range list {
		out[Sensor{a.RoomID, a.Kind}] = a
	}
	return out, nil
}

// SaveAlert writes an alert.
func SaveAlert(ctx context.Context, db pg.DB, a Alert) error {
	const sql = `
		INSERT INTO climate_alert (alert_id, room_id, farm_id, kind, crop_id, step, least, most, since, last, last_value, worst, cleared_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)
		ON CONFLICT (coop_id, alert_id) DO UPDATE
		SET last = excluded.last, last_value = excluded.last_value, worst = excluded.worst, cleared_at = excluded.cleared_at`
	s := a.Setting
	_, err := db.Exec(ctx, sql, a.ID, a.RoomID, a.FarmID, int16(a.Kind), s.CropID, s.Step, s.Limit.Least, s.Limit.Most, a.Since, a.Last, a.LastValue, a.Worst, a.Cleared)
	return wrap("save an alert of room "+a.RoomID, err)
}

// Alerts returns alerts, newest first: of one farm and room where named, and
// the open ones only unless clearedToo; those that touch the time from a moment
// until before another where from is not zero.
func Alerts(ctx context.Context, db pg.DB, farmID, roomID string, clearedToo bool, from, until time.Time) ([]Alert, error) {
	const sql = `
		SELECT ` + alertColumns + ` FROM climate_alert
		WHERE ($1 = '' OR farm_id = $1) AND ($2 = '' OR room_id = $2) AND ($3 OR cleared_at IS NULL)
		  AND ($4 OR (since < $6 AND coalesce(cleared_at, 'infinity') >= $5))
		ORDER BY since DESC, alert_id LIMIT 500`
	list, err := collect(ctx, db, scanAlert, sql, farmID, roomID, clearedToo, from.IsZero(), from, until)
	return list, wrap("read the alerts", err)
}
