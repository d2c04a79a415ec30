package coopfiles

import (
	"flag"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the column tables into the README")

// TestREADMEDescribesEveryColumn compares the column tables of the README with the tables
// that the reader goes by.
func TestREADMEDescribesEveryColumn(t *testing.T) {
	t.Parallel()
	name := filepath.Join("..", "..", "..", "README.md")
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	const begin, end = "<!-- columns: begin -->\n", "<!-- columns: end -->"
	before, rest, found := strings.Cut(string(text), begin)
	described, after, closed := strings.Cut(rest, end)
	if !found || !closed {
		t.Fatalf("%s has no %q and %q", name, begin, end)
	}
	if *update {
		if err := os.WriteFile(name, []byte(before+begin+Describe()+end+after), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if described != Describe() {
		t.Errorf("%s does not describe the columns as they are read; run the test with -update", name)
	}
}

// TestEveryColumnTakesItsExample reads each file with one row of its documented examples.
func TestEveryColumnTakesItsExample(t *testing.T) {
	t.Parallel()
	for _, table := range Tables() {
		t.Run(table.File, func(t *testing.T) {
			t.Parallel()
			var names, examples []string
			for _, c := range table.Columns {
				names = append(names, c.Name)
				example := `"` + c.Example + `"`
				if c.Name == "first_pick_date" {
					example = "" // the other date is given
				}
				examples = append(examples, example)
			}
			dir := folder(t, map[string]string{table.File: strings.Join(names, ",") + "\n" + strings.Join(examples, ",") + "\n"})
			if _, err := Read(dir); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestKeysAndReferencesNameColumns(t *testing.T) {
	t.Parallel()
	files := make(map[string]Table)
	for _, table := range Tables() {
		files[table.File] = table
	}
	for _, table := range Tables() {
		for _, key := range table.Key {
			if !slices.ContainsFunc(table.Columns, func(c Column) bool { return c.Name == key }) {
				t.Errorf("%s: key %s is no column", table.File, key)
			}
		}
		for _, c := range table.Columns {
			if c.Refers == "" {
				continue
			}
			if other, known := files[c.Refers]; !known || other.Columns[0].Name != c.Name {
				t.Errorf("%s: %s refers to %s, whose first column is another", table.File, c.Name, c.Refers)
			}
		}
	}
}
