package fillplan

import (
	"context"
	"fmt"
	"os"
	"strconv"
	"syscall"
	"testing"
	"time"
)

func cpu() float64 {
	var u syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return float64(u.Utime.Sec+u.Stime.Sec) + float64(u.Utime.Usec+u.Stime.Usec)/1e6
}

func TestScratch(t *testing.T) {
	name := os.Getenv("FP")
	lim, _ := strconv.ParseFloat(os.Getenv("SEC"), 64)
	ctx, cancel := context.WithCancel(context.Background())
	in := reference(t, name)
	start := cpu()
	next := 1.0
	go func() {
		for range time.Tick(50 * time.Millisecond) {
			if cpu()-start > lim {
				cancel()
				return
			}
		}
	}()
	got, err := Solve(ctx, in, Options{Improved: func(_ Plan, c, b int64) {
		if e := cpu() - start; e >= next {
			fmt.Printf("%s %6.1f cost %.1f bound %.1f gap %.3f\n", name, e, float64(c)/1000, float64(b)/1000, 100*(float64(c)/float64(b)-1))
			next = e * 1.5
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	fmt.Printf("%s %6.1f cost %.1f bound %.1f gap %.3f END\n", name, cpu()-start, float64(got.M)/1000, float64(got.BoundM)/1000, 100*got.Gap())
}
