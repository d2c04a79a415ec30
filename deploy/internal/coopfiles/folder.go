package coopfiles

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Folder is a co-op's files, read and checked each for itself. A file that is not there
// has no rows.
type Folder struct {
	Coop            Coop
	Farms           []Farm
	Rooms           []Room
	Yards           []Yard
	Products        []Product
	Customers       []Customer
	Wishes          []Wish
	Substitutes     []Substitute
	MatchSettings   []MatchSettings // at most one
	PromiseCosts    []PromiseCost
	ZoneCosts       []ZoneCost
	Crops           []Crop
	Stages          []Stage
	Slots           []Slot
	CompostRequests []CompostRequest
	Lots            []Lot
	LotMarks        []LotMark
	Readings        []Reading
	Releases        []Release
	Deliveries      []Delivery
	Ordering        []Ordering // at most one
	Orders          []OrderRow
	StandingOrders  []StandingRow
	ExpectedPicks   []ExpectedPick
	Picks           []Pick
	Climate         []ClimateReading

	sheets map[string]*sheet // by file
}

// Tables describes every file, in the order in which they are imported.
func Tables() []Table {
	return []Table{
		coopTable.Table, farmTable.Table, roomTable.Table, yardTable.Table, productTable.Table, customerTable.Table,
		wishTable.Table, substituteTable.Table, matchSettingsTable.Table, promiseCostTable.Table, zoneCostTable.Table, orderingTable.Table,
		cropTable.Table, stageTable.Table, slotTable.Table, compostRequestTable.Table, lotTable.Table,
		lotMarkTable.Table, readingTable.Table, releaseTable.Table, deliveryTable.Table, orderTable.Table, standingTable.Table,
		expectedPickTable.Table, pickTable.Table, climateTable.Table,
	}
}

// Read reads the files of a folder. What is wrong in any of them is returned as *Problems;
// another error means that the folder itself cannot be read.
func Read(dir string) (*Folder, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("read the co-op's folder: %w", err)
	}
	f := &Folder{sheets: make(map[string]*sheet)}
	r := &reading{dir: os.DirFS(dir), folder: f}
	coops := load(r, coopTable)
	f.Farms = load(r, farmTable)
	f.Rooms = load(r, roomTable)
	f.Yards = load(r, yardTable)
	f.Products = load(r, productTable)
	f.Customers = load(r, customerTable)
	f.Wishes = load(r, wishTable)
	f.Substitutes = load(r, substituteTable)
	f.MatchSettings = load(r, matchSettingsTable)
	f.PromiseCosts = load(r, promiseCostTable)
	f.ZoneCosts = load(r, zoneCostTable)
	f.Ordering = load(r, orderingTable)
	f.Crops = load(r, cropTable)
	f.Stages = load(r, stageTable)
	f.Slots = load(r, slotTable)
	f.CompostRequests = load(r, compostRequestTable)
	f.Lots = load(r, lotTable)
	f.LotMarks = load(r, lotMarkTable)
	f.Readings = load(r, readingTable)
	f.Releases = load(r, releaseTable)
	f.Deliveries = load(r, deliveryTable)
	f.Orders = load(r, orderTable)
	f.StandingOrders = load(r, standingTable)
	f.ExpectedPicks = load(r, expectedPickTable)
	f.Picks = load(r, pickTable)
	f.Climate = load(r, climateTable)
	r.problems = append(r.problems, checkOrders(f.Orders)...)
	r.problems = append(r.problems, checkStanding(f.StandingOrders)...)
	r.problems = append(r.problems, strangers(entries)...)
	if len(coops) == 1 {
		f.Coop = coops[0]
	} else if len(r.problems) == 0 {
		r.problems = append(r.problems, Problem{File: coopTable.File, Text: "has no row: it needs the one row of the co-op"})
	}
	if len(r.problems) > 0 {
		return nil, &Problems{List: r.problems}
	}
	return f, nil
}

// reading is one pass over a folder.
type reading struct {
	dir      fs.FS
	folder   *Folder
	problems []Problem
}

func load[R any, P rowOf[R]](r *reading, t table[R]) []R {
	file, err := r.dir.Open(t.File)
	switch {
	case errors.Is(err, fs.ErrNotExist) && !t.Needed:
		return nil
	case errors.Is(err, fs.ErrNotExist):
		r.problems = append(r.problems, Problem{File: t.File, Text: "is not there, and an import needs it; its columns are " + t.names()})
		return nil
	case err != nil:
		r.problems = append(r.problems, Problem{File: t.File, Text: "cannot be opened: " + err.Error()})
		return nil
	}
	defer file.Close()
	rows, s, c := parse[R, P](t, file)
	r.problems = append(r.problems, c.problems()...)
	r.folder.sheets[t.File] = s
	return rows
}

// strangers are CSV files that no import takes: most often a slip in the name.
func strangers(entries []fs.DirEntry) []Problem {
	var known []string
	for _, t := range Tables() {
		known = append(known, t.File)
	}
	var out []Problem
	for _, e := range entries {
		if strings.EqualFold(filepath.Ext(e.Name()), ".csv") && !slices.Contains(known, e.Name()) {
			out = append(out, Problem{File: e.Name(), Text: "is no file of a co-op; they are " + strings.Join(known, ", ")})
		}
	}
	return out
}

// checkOrders sees that the lines of an order agree on kitchen and day.
func checkOrders(rows []OrderRow) []Problem {
	c := &collector{file: orderTable.File}
	first := make(map[string]OrderRow)
	for _, row := range rows {
		head, known := first[row.OrderID]
		if !known {
			first[row.OrderID] = row
			continue
		}
		if row.CustomerID != head.CustomerID {
			c.add(row.Line, "customer_id", "found %s, expected %s as on line %d of the same order", shorten(row.CustomerID), head.CustomerID, head.Line)
		}
		if row.DeliveryDate != head.DeliveryDate {
			c.add(row.Line, "delivery_date", "found %s, expected %s as on line %d of the same order", shorten(row.DeliveryDate), head.DeliveryDate, head.Line)
		}
	}
	return c.problems()
}

// Known tells which values of another file's first column the suite has already, by file.
type Known map[string]map[string]bool

// CheckReferences sees that every value that names a row of another file is in that file or
// known. What is not is returned as *Problems.
func (f *Folder) CheckReferences(known Known) error {
	var out []Problem
	for _, t := range Tables() {
		s := f.sheets[t.File]
		if s == nil {
			continue
		}
		c := &collector{file: t.File}
		for _, u := range s.uses {
			other := f.sheets[u.refers]
			if known[u.refers][u.value] || other != nil && other.first[u.value] > 0 {
				continue
			}
			c.add(u.line, u.column, "unknown %s %s%s, expected one of %s", u.column, shorten(u.value), andMore(u.more), f.choices(u.refers, known))
		}
		out = append(out, c.problems()...)
	}
	if len(out) > 0 {
		return &Problems{List: out}
	}
	return nil
}

func andMore(lines int) string {
	if lines == 0 {
		return ""
	}
	return fmt.Sprintf(" (also on %d lines after it)", lines)
}

// choices lists some of the values that would have been taken.
func (f *Folder) choices(file string, known Known) string {
	all := maps.Clone(known[file])
	if all == nil {
		all = make(map[string]bool)
	}
	if s := f.sheets[file]; s != nil {
		for id := range s.first {
			all[id] = true
		}
	}
	const most = 8
	values := slices.Sorted(maps.Keys(all))
	switch {
	case len(values) == 0:
		return file + ", which is not there"
	case len(values) > most:
		return fmt.Sprintf("%s: %s and %d more", file, strings.Join(values[:most], ", "), len(values)-most)
	default:
		return file + ": " + strings.Join(values, ", ")
	}
}

// HasColumn reports whether the folder has the file, and the file the column.
func (f *Folder) HasColumn(file, column string) bool {
	s := f.sheets[file]
	return s != nil && slices.Contains(s.header, column)
}

// Has reports whether the folder has the file.
func (f *Folder) Has(file string) bool { return f.sheets[file] != nil }
