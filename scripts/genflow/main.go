// Command genflow makes the minimum-cost-flow instances of testdata/flow:
//
//	genflow coop tiny|small|medium|large DIR   one delivery day of a co-operative
//	genflow dense N DIR                        dense N x N transportation problem
//	genflow sparse K DIR                       sparse network, 2^K nodes, 8 x 2^K arcs
//
// It writes NAME.min, in the DIMACS form, and for a co-op day NAME.json.gz,
// the same day as lots and lines. Only integer arithmetic and one SplitMix64
// stream per instance are used, so that the output is the same everywhere.
package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
)

const usage = "usage: genflow coop tiny|small|medium|large DIR | genflow dense N DIR | genflow sparse K DIR"

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "genflow:", err)
		os.Exit(2)
	}
}

func run(args []string) error {
	if len(args) != 3 {
		return fmt.Errorf("%s", usage)
	}
	n, day, err := generate(args[0], args[1])
	if err != nil {
		return err
	}
	base := filepath.Join(args[2], n.name)
	if err := os.MkdirAll(args[2], 0o755); err != nil {
		return err
	}
	if err := create(base+".min", false, n.writeDIMACS); err != nil {
		return err
	}
	if day != nil {
		if err := create(base+".json.gz", true, asJSON(day)); err != nil {
			return err
		}
	}
	fmt.Printf("%s: %d nodes, %d arcs\n", n.name, len(n.supply), len(n.from))
	return nil
}

// generate makes the instance of a family; the day is nil for all but coop.
func generate(family, size string) (*net, *coopJSON, error) {
	if family == "coop" {
		for _, s := range coopSizes {
			if s.name == size {
				day, n := genCoop(s)
				return n, day, nil
			}
		}
		return nil, nil, fmt.Errorf("no size %q; %s", size, usage)
	}
	k, err := strconv.Atoi(size)
	switch {
	case err != nil || k < 1:
		return nil, nil, fmt.Errorf("size %q is not a positive number; %s", size, usage)
	case family == "dense" && k <= 2000:
		return genDense(k), nil, nil
	case family == "sparse" && k >= 4 && k <= 22:
		return genSparse(k), nil, nil
	case family == "dense" || family == "sparse":
		return nil, nil, fmt.Errorf("%s %d is out of range; dense goes from 1 to 2000, sparse from 4 to 22", family, k)
	}
	return nil, nil, fmt.Errorf("no family %q; %s", family, usage)
}
