package importer

import (
	"context"
	"fmt"
	"time"

	"breakshare.example/deploy/internal/coopfiles"
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// Importer brings files into a suite. The caller's identity travels in the context; it must
// be a coordinator of the co-op that the files name.
type Importer struct {
	Clients
	// Tell hears of each file when it is done; nil for nobody.
	Tell func(Outcome)
	// Patience is how long a service may lag behind what another has just been told, for
	// example harvest behind a new room. Default 10 s.
	Patience time.Duration
}

// Outcome is what became of the rows, or orders or pick lots, of one file.
type Outcome struct {
	File string
	// New were added, Changed replaced what the suite had, Same were there already.
	New, Changed, Same int
}

// String is the outcome as one line.
func (o Outcome) String() string {
	return fmt.Sprintf("%-22s %5d new %5d changed %5d as they were", o.File, o.New, o.Changed, o.Same)
}

// run is one import.
type run struct {
	Importer
	files *coopfiles.Folder
	have  present
	// told is when something was last sent that other services hear of.
	told time.Time
	// reports of lots, by lot, as far as they were asked for.
	reports map[string]*compostlotv1.LotReport
}

// Import sends the folder's files. What cannot be taken is returned as
// *coopfiles.Problems with file, line and column; files before the one at fault have then
// been taken, and the import can be run again.
func (im Importer) Import(ctx context.Context, files *coopfiles.Folder) ([]Outcome, error) {
	if im.Patience == 0 {
		im.Patience = 10 * time.Second
	}
	r := &run{Importer: im, files: files}
	var err error
	if r.have, err = im.read(ctx, files); err != nil {
		return nil, fmt.Errorf("read what the suite has: %w", err)
	}
	if err := r.check(); err != nil {
		return nil, err
	}
	var outcomes []Outcome
	for _, step := range r.steps() {
		if !files.Has(step.file) {
			continue
		}
		o, err := step.send(ctx)
		o.File = step.file
		if err != nil {
			return outcomes, err
		}
		outcomes = append(outcomes, o)
		if im.Tell != nil {
			im.Tell(o)
		}
	}
	return outcomes, nil
}

// step sends one file.
type step struct {
	file string
	send func(context.Context) (Outcome, error)
}

// steps are in the order of the files, in which each needs only what comes before it.
func (r *run) steps() []step {
	return []step{
		{"coop.csv", r.coop}, {"farms.csv", r.farms}, {"rooms.csv", r.rooms}, {"yards.csv", r.yards},
		{"products.csv", r.products}, {"customers.csv", r.customers},
		{"wishes.csv", r.wishes}, {"substitutes.csv", r.substitutes},
		{"match_settings.csv", r.matchSettings}, {"promise_costs.csv", r.promiseCosts}, {"zone_costs.csv", r.zoneCosts},
		{"ordering.csv", r.ordering}, {"crops.csv", r.crops}, {"stages.csv", r.stages},
		{"slots.csv", r.slots}, {"compost_requests.csv", r.compostRequests}, {"lots.csv", r.lots},
		{"lot_marks.csv", r.lotMarks}, {"readings.csv", r.readings}, {"releases.csv", r.releases},
		{"deliveries.csv", r.deliveries}, {"orders.csv", r.orders}, {"standing_orders.csv", r.standingOrders},
		{"expected_picks.csv", r.expectedPicks},
		{"picks.csv", r.picks}, {"climate.csv", r.climate},
	}
}

// check sees that what the files refer to is in them or in the suite.
func (r *run) check() error {
	if err := r.files.CheckReferences(r.have.known()); err != nil {
		return err
	}
	var wrong []coopfiles.Problem
	for _, c := range r.files.Crops {
		if !r.have.programmes[c.ProgrammeID] {
			wrong = append(wrong, coopfiles.Problem{
				File: "crops.csv", Line: c.Line, Column: "programme_id",
				Text: fmt.Sprintf("unknown programme_id %q, expected one of %s", c.ProgrammeID, sortedKeys(r.have.programmes)),
			})
		}
	}
	wrong = append(wrong, r.unknownFarms()...)
	if len(wrong) > 0 {
		return &coopfiles.Problems{List: wrong}
	}
	return nil
}

// Picks sends only the picks of the folder, into a suite that has the rest of it.
func (im Importer) Picks(ctx context.Context, files *coopfiles.Folder) (Outcome, error) {
	r := &run{Importer: im, files: files}
	return r.picks(ctx)
}
