package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/programme"
)

// Origin says who made a programme.
type Origin string

// The origins.
const (
	Own     Origin = "own"      // the co-op
	BuiltIn Origin = "built-in" // the suite; kept because a crop stands on it
)

// ProgrammeVersion is a programme at one version. The version of its Change is
// that of the programme.
type ProgrammeVersion struct {
	*programme.Programme
	Origin Origin
	Change
}

// ProgrammeKey names a programme at a version.
type ProgrammeKey struct {
	ID      string
	Version int32
}

const programmeColumns = `programme_id, version, origin, programme, changed_by, changed_at`

func scanProgramme(row pgx.CollectableRow) (ProgrammeVersion, error) {
	var v ProgrammeVersion
	var id, text string
	var version int32
	if err := row.Scan(&id, &version, &v.Origin, &text, &v.By, &v.At); err != nil {
		return v, err
	}
	p, err := programme.Decode([]byte(text))
	if err != nil {
		return v, fmt.Errorf("stored programme %q version %d: %w", id, version, err)
	}
	v.Programme, v.Change.Version = p, int64(version)
	return v, nil
}

// ListOwnProgrammes reads the newest version of each of the co-op's own
// programmes.
func ListOwnProgrammes(ctx context.Context, db pg.DB) ([]ProgrammeVersion, error) {
	const sql = `
		SELECT DISTINCT ON (programme_id COLLATE "C") ` + programmeColumns + `
		FROM programme_version WHERE origin = 'own'
		ORDER BY programme_id COLLATE "C", version DESC`
	return queryProgrammes(ctx, db, sql)
}

// GetProgrammes reads programmes at the given versions.
func GetProgrammes(ctx context.Context, db pg.DB, keys []ProgrammeKey) (map[ProgrammeKey]*programme.Programme, error) {
	ids, versions := make([]string, len(keys)), make([]int32, len(keys))
	for i, k := range keys {
		ids[i], versions[i] = k.ID, k.Version
	}
	const sql = `
		SELECT ` + programmeColumns + ` FROM programme_version
		WHERE (programme_id, version) IN (SELECT * FROM unnest($1::text[], $2::integer[]))`
	found, err := queryProgrammes(ctx, db, sql, ids, versions)
	if err != nil {
		return nil, err
	}
	out := make(map[ProgrammeKey]*programme.Programme, len(found))
	for _, v := range found {
		out[ProgrammeKey{v.ID, v.Programme.Version}] = v.Programme
	}
	return out, nil
}

func queryProgrammes(ctx context.Context, db pg.DB, sql string, args ...any) ([]ProgrammeVersion, error) {
	rows, err := db.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("read crop programmes: %w", err)
	}
	found, err := pgx.CollectRows(rows, scanProgramme)
	if err != nil {
		return nil, fmt.Errorf("read crop programmes: %w", err)
	}
	return found, nil
}

// LastProgrammeVersion is the highest version stored under the id, of either
// origin; 0 where there is none.
func LastProgrammeVersion(ctx context.Context, db pg.DB, id string) (int32, error) {
	var last int32
	const sql = `SELECT coalesce(max(version), 0) FROM programme_version WHERE programme_id = $1`
	if err := db.QueryRow(ctx, sql, id).Scan(&last); err != nil {
		return 0, fmt.Errorf("read the last version of programme %q: %w", id, err)
	}
	return last, nil
}

// AddProgramme writes a version. It reports false, and writes nothing, where that
// version is there already.
func AddProgramme(ctx context.Context, tx pgx.Tx, coopID string, v ProgrammeVersion) (bool, error) {
	text, err := v.Encode()
	if err != nil {
		return false, err
	}
	const sql = `
		INSERT INTO programme_version (coop_id, ` + programmeColumns + `)
		VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (coop_id, programme_id, version) DO NOTHING`
	tag, err := tx.Exec(ctx, sql, coopID, v.ID, v.Programme.Version, v.Origin, string(text), v.By, v.At)
	if err != nil {
		return false, fmt.Errorf("write programme %q version %d: %w", v.ID, v.Programme.Version, err)
	}
	return tag.RowsAffected() == 1, nil
}
