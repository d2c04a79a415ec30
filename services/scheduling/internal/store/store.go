// Package store owns all SQL of the scheduling service: the co-op's settings,
// farms, rooms, crop programmes by version, crops and their stages.
//
// Functions take the transaction of the change (or of the read) and see only the
// co-op that it is scoped to. Rows carry the rules' own types; what the rules
// mean by them is not decided here. Reading functions order by id unless they say
// otherwise.
package store

import (
	"embed"
	"io/fs"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/saving"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Schema is the service's share of the database.
func Schema() pg.Schema {
	return pg.Schema{Service: "scheduling", Migrations: fs.FS(migrations)}
}

// Change says which version a row has, and who made it when.
type Change = saving.Change

// epoch turns a date column into the days since 1970 that calendar.Date holds,
// and back: "fill_date - epoch", "epoch + $1".
const epoch = `DATE '1970-01-01'`
