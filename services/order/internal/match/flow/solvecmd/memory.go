package solvecmd

import (
	"bytes"
	"os"
	"runtime"
	"strconv"
)

// peakBytes returns the most memory the process has held resident, as Linux
// counts it ("VmHWM" in proc(5)); elsewhere the memory the Go runtime has
// taken from the system.
func peakBytes() uint64 {
	status, err := os.ReadFile("/proc/self/status")
	if err == nil {
		if kib, ok := highWater(status); ok {
			return kib * 1024
		}
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.Sys
}

// highWater finds VmHWM, in KiB, in the text of a status file.
func highWater(status []byte) (uint64, bool) {
	for line := range bytes.Lines(status) {
		if rest, ok := bytes.CutPrefix(line, []byte("VmHWM:")); ok {
			kib, err := strconv.ParseUint(string(bytes.TrimSuffix(bytes.TrimSpace(rest), []byte(" kB"))), 10, 64)
			return kib, err == nil
		}
	}
	return 0, false
}
