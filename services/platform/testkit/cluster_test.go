package testkit

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
)

// helperVariable turns this test binary into one that starts a test cluster,
// names its socket, and waits to be killed.
const helperVariable = "BREAKSHARE_TESTKIT_TEST_HELPER"

func TestMain(m *testing.M) {
	if os.Getenv(helperVariable) == "" {
		os.Exit(m.Run())
	}
	url, err := startCluster()
	if err != nil {
		fmt.Println(err)
		return
	}
	cfg, err := pgx.ParseConfig(url)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("socket " + cfg.Host)
	bufio.NewReader(os.Stdin).ReadByte() // until the test is over
}

// A test process that is killed leaves no server and no files.
func TestAKilledProcessLeavesNoCluster(t *testing.T) {
	t.Parallel()
	helper := exec.Command(os.Args[0])
	helper.Env = append(os.Environ(), helperVariable+"=1")
	in, err := helper.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := helper.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := helper.Start(); err != nil {
		t.Fatal(err)
	}
	line, _ := bufio.NewReader(out).ReadString('\n')
	socket, ok := strings.CutPrefix(strings.TrimSpace(line), "socket ")
	if err := helper.Process.Kill(); err != nil {
		t.Error(err)
	}
	_ = helper.Wait() // it was killed, which is what Wait says
	if !ok {
		t.Fatalf("helper says %q", line)
	}
	folder := filepath.Dir(filepath.Dir(socket))
	Eventually(t, "removal of "+folder, func() bool {
		_, err := os.Stat(folder)
		return errors.Is(err, fs.ErrNotExist)
	})
}
