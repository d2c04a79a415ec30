package solvecmd

import (
	"bytes"
	"os"
	"runtime"
	"strconv"

	"breakshare.example/services/order/internal/match/flow"
)

// held is the memory of the process, in bytes.
type held struct {
	peak    uint64 // the most it has held resident
	program uint64 // what it holds of that as pages of files, its own program's
}

// measure asks Linux ("VmHWM" and "RssFile" in proc(5)); elsewhere the peak is
// the memory the Go runtime has taken from the system.
func measure() held {
	status, err := os.ReadFile("/proc/self/status")
	if err == nil {
		if peak, ok := field(status, "VmHWM:"); ok {
			program, _ := field(status, "RssFile:")
			return held{peak, program}
		}
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return held{peak: m.Sys}
}

// field finds a size in the text of a status file, where it is in KiB.
func field(status []byte, name string) (uint64, bool) {
	for line := range bytes.Lines(status) {
		if rest, ok := bytes.CutPrefix(line, []byte(name)); ok {
			kib, err := strconv.ParseUint(string(bytes.TrimSuffix(bytes.TrimSpace(rest), []byte(" kB"))), 10, 64)
			return kib * 1024, err == nil
		}
	}
	return 0, false
}

// arcBytes is the size of the arcs of p: two ends, capacity and cost, and a
// lower bound where there are any.
func arcBytes(p *flow.Problem) int {
	arc := 4 + 4 + 8 + 8
	if p.Low != nil {
		arc += 8
	}
	return p.Arcs() * arc
}
