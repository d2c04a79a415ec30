package store

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/hygiene"
	"breakshare.example/services/platform/pg"
)

// Incident is a pest or disease seen in a room.
type Incident struct {
	ID, RoomID, FarmID, Pest string
	Counts                   []hygiene.Count
	CropValue, ControlCost   *int64 // minor units; nil where not given
	GrowthPerMille           int32
	Note                     string
	Holds                    bool   // the room's lots
	ExpectedLoss             *int64 // minor units; nil without a threshold
	Verdict                  int16  // as in the contract
	ThresholdSource          string
	Infects                  bool // a disease, or a pest at or above its threshold
	ReportedAt               time.Time
	ReportedBy               string
	ClosedAt                 *time.Time
	ClosedBy, Outcome        string
	HasPhoto                 bool
}

const incidentColumns = `incident_id, room_id, farm_id, pest, counts, crop_value_minor, control_cost_minor, growth_per_mille, note, holds,
	expected_loss_minor, verdict, threshold_source, infects, reported_at, reported_by, closed_at, closed_by, outcome,
	EXISTS (SELECT FROM incident_photo p WHERE p.incident_id = i.incident_id)`

// AddIncident writes an incident, with its photo where there is one.
func AddIncident(ctx context.Context, db pg.DB, i Incident, mediaType string, photo []byte) error {
	const sql = `
		INSERT INTO incident (incident_id, room_id, farm_id, pest, counts, crop_value_minor, control_cost_minor, growth_per_mille,
			note, holds, expected_loss_minor, verdict, threshold_source, infects, reported_at, reported_by)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)`
	counts := append([]hygiene.Count{}, i.Counts...)
	_, err := db.Exec(ctx, sql, i.ID, i.RoomID, i.FarmID, i.Pest, counts, i.CropValue, i.ControlCost, i.GrowthPerMille,
		i.Note, i.Holds, i.ExpectedLoss, i.Verdict, i.ThresholdSource, i.Infects, i.ReportedAt, i.ReportedBy)
	if err != nil || len(photo) == 0 {
		return wrap("add an incident", err)
	}
	_, err = db.Exec(ctx, `INSERT INTO incident_photo (incident_id, media_type, photo) VALUES ($1, $2, $3)`, i.ID, mediaType, photo)
	return wrap("add the photo of an incident", err)
}

// CloseIncident notes what became of an incident.
func CloseIncident(ctx context.Context, db pg.DB, id string, at time.Time, by, outcome string) error {
	_, err := db.Exec(ctx, `UPDATE incident SET closed_at = $2, closed_by = $3, outcome = $4 WHERE incident_id = $1`, id, at, by, outcome)
	return wrap("close incident "+id, err)
}

// LockIncident returns an incident and keeps others from changing it; ok is
// false where there is none with that id.
func LockIncident(ctx context.Context, tx pgx.Tx, id string) (i Incident, ok bool, err error) {
	list, err := collect(ctx, tx, pgx.RowToStructByPos[Incident], `SELECT `+incidentColumns+` FROM incident i WHERE incident_id = $1 FOR NO KEY UPDATE`, id)
	if err != nil || len(list) == 0 {
		return i, false, wrap("read incident "+id, err)
	}
	return list[0], true, nil
}

// mostIncidents is how many one listing returns.
const mostIncidents = 500

// Incidents returns incidents, newest first: those of one farm and room where
// named, and the open ones only unless closedToo.
func Incidents(ctx context.Context, db pg.DB, farmID, roomID string, closedToo bool) ([]Incident, error) {
	const sql = `
		SELECT ` + incidentColumns + ` FROM incident i
		WHERE ($1 = '' OR farm_id = $1) AND ($2 = '' OR room_id = $2) AND ($3 OR closed_at IS NULL)
		ORDER BY reported_at DESC, incident_id LIMIT $4`
	list, err := collect(ctx, db, pgx.RowToStructByPos[Incident], sql, farmID, roomID, closedToo, mostIncidents)
	return list, wrap("read the incidents", err)
}

// IncidentPhoto returns the photo of an incident with its farm; photo is empty
// where there is none.
func IncidentPhoto(ctx context.Context, db pg.DB, id string) (farmID, mediaType string, photo []byte, err error) {
	const sql = `SELECT i.farm_id, p.media_type, p.photo FROM incident i JOIN incident_photo p USING (coop_id, incident_id) WHERE i.incident_id = $1`
	err = db.QueryRow(ctx, sql, id).Scan(&farmID, &mediaType, &photo)
	if errors.Is(err, pgx.ErrNoRows) {
		err = nil
	}
	return farmID, mediaType, photo, wrap("read the photo of incident "+id, err)
}
