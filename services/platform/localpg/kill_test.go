package localpg_test

import (
	"os"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// kill ends the server named in a pid file as a crash would.
func kill(t *testing.T, pidFile string) {
	t.Helper()
	text, err := os.ReadFile(pidFile)
	if err != nil {
		t.Fatal(err)
	}
	first, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(first)
	if err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
}
