// Command pagebench asks a running suite for every page, each as somebody who goes there, and
// prints what the server took, how many calls to services a page makes and how large it is.
//
//	pagebench -data FOLDER -day YYYY-MM-DD [-rounds 60] [-limit 50ms]
//
// It ends with 1 where a page is slower than the limit in the slowest hundredth of its rounds,
// makes more than a dozen calls, or has more than 100,000 bytes.
package main

import (
	"cmp"
	"errors"
	"flag"
	"fmt"
	"net/http"
	"os"
	"slices"
	"time"

	"breakshare.example/deploy/onemachine"
)

const (
	mostCalls = 12
	mostBytes = 100_000
)

func main() {
	data := flag.String("data", "", "data `folder` of the running suite")
	day := flag.String("day", "", "`day` of delivery that was matched")
	rounds := flag.Int("rounds", 60, "how often each page is asked for, after three times to warm up")
	limit := flag.Duration("limit", 50*time.Millisecond, "what the slowest hundredth may take")
	flag.Parse()
	if err := run(*data, *day, *rounds, *limit); err != nil {
		fmt.Fprintln(os.Stderr, "pagebench:", err)
		os.Exit(1)
	}
}

func run(data, day string, rounds int, limit time.Duration) error {
	addresses, err := onemachine.ReadAddresses(data)
	if err != nil {
		return err
	}
	people, err := whoGoes(addresses.Gateway)
	if err != nil {
		return err
	}
	asked, err := people.pages(day)
	if err != nil {
		return err
	}
	var all []figure
	for _, one := range asked {
		f, err := measure(one, rounds)
		if err != nil {
			return err
		}
		all = append(all, f)
	}
	return report(all, limit)
}

// figure is what one page costs.
type figure struct {
	name          string
	median, p99   time.Duration
	calls, length int
}

// measure asks for a page again and again.
func measure(one request, rounds int) (figure, error) {
	f := figure{name: one.who + " " + one.path}
	var took []time.Duration
	for i := range rounds + 3 {
		a, err := one.ask()
		if err != nil {
			return f, err
		}
		if a.status != http.StatusOK {
			return f, fmt.Errorf("%s answers %d", f.name, a.status)
		}
		if i < 3 {
			continue
		}
		took = append(took, a.took)
		f.calls, f.length = a.calls, len(a.body)
	}
	slices.Sort(took)
	f.median, f.p99 = took[len(took)/2], took[len(took)*99/100]
	return f, nil
}

// report prints the figures, the slowest first, and what is beyond the limits.
func report(all []figure, limit time.Duration) error {
	slices.SortStableFunc(all, func(a, b figure) int { return cmp.Compare(b.p99, a.p99) })
	fmt.Printf("%-64s %10s %10s %6s %8s\n", "page", "median ms", "p99 ms", "calls", "bytes")
	beyond := 0
	for _, f := range all {
		mark := ""
		if f.p99 > limit || f.calls > mostCalls || f.length > mostBytes {
			mark = " !"
			beyond++
		}
		fmt.Printf("%-64.64s %10.1f %10.1f %6d %8d%s\n", f.name, milli(f.median), milli(f.p99), f.calls, f.length, mark)
	}
	if beyond > 0 {
		return errors.New(fmt.Sprint(beyond, " pages are beyond the limits"))
	}
	return nil
}

func milli(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
