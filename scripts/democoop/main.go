// Command democoop writes the files of the demonstration co-op, an invented one: six farms,
// two compost yards, 22 rooms at different points of their cycles, 26 kitchens, two weeks of
// orders and expected picks that end on the demonstration day, and standing orders from the day
// after.
//
//	go run ./scripts/democoop testdata/coop
//	go run ./scripts/democoop -times 10 DIR     a co-op ten times as large
//
// The same program writes the same files: chance is seeded, and nothing asks the clock.
package main

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"
)

// day is the day of delivery that the demonstration runs; now is the afternoon before it, up
// to which the co-op has recorded what happened.
var (
	day = time.Date(2026, time.November, 26, 0, 0, 0, 0, time.UTC)
	now = time.Date(2026, time.November, 25, 14, 30, 0, 0, time.UTC)
)

func main() {
	times := flag.Int("times", 1, "how many times as large, 1 to 50")
	flag.Parse()
	if flag.NArg() != 1 || *times < 1 || *times > 50 {
		fmt.Fprintln(os.Stderr, "usage: democoop [-times N] DIR")
		os.Exit(2)
	}
	files := build()
	grow(files, *times)
	if err := write(flag.Arg(0), files); err != nil {
		fmt.Fprintln(os.Stderr, "democoop:", err)
		os.Exit(1)
	}
}

// build makes every file by name.
func build() map[string]*file {
	chance := rand.New(rand.NewPCG(26, 11))
	files := make(map[string]*file)
	writeMembers(files)
	writeWishes(files)
	crops := writeCrops(files, chance)
	writeCompost(files, crops, chance)
	sales := writeSupply(files, crops, chance)
	writeStanding(files, writeOrders(files, sales, chance))
	// Chance of its own: what is told of rooms changes nothing else.
	writeClimate(files, crops, rand.New(rand.NewPCG(26, 12)))
	return files
}

func write(dir string, files map[string]*file) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for name, f := range files {
		if err := os.WriteFile(filepath.Join(dir, name), f.bytes(), 0o644); err != nil {
			return err
		}
	}
	return nil
}
