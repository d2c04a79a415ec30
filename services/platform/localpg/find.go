package localpg

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"
)

// BinDirVariable is the environment variable that names the folder of
// PostgreSQL's binaries.
const BinDirVariable = "BREAKSHARE_POSTGRES_BIN"

// minMajor is the oldest version of PostgreSQL the suite runs on.
const minMajor = 15

// Binaries are the programs of one PostgreSQL installation.
type Binaries struct {
	Initdb, Postgres string // paths
	Version          string // e.g. "17.9"
	Major            int
}

// NotFoundError says that this machine has no PostgreSQL that will do.
type NotFoundError struct {
	Want    string   // the major version the data needs, "" for any
	Looked  []string // folders looked at
	Refused []string // what was found there and why it will not do
}

// Error says where was looked and how to mend it.
func (e *NotFoundError) Error() string {
	what := fmt.Sprintf("PostgreSQL %d or later", minMajor)
	if e.Want != "" {
		what = "PostgreSQL " + e.Want + ", which made the data,"
	}
	msg := what + " was not found in " + strings.Join(e.Looked, ", ")
	if len(e.Refused) > 0 {
		msg += " (" + strings.Join(e.Refused, "; ") + ")"
	}
	return msg + ": install it (Debian and Ubuntu: apt-get install postgresql), or name the folder of its binaries in " + BinDirVariable + ", or let the suite fetch it into the data folder"
}

// Find looks for PostgreSQL's binaries and takes the first place that has
// them: binDir, then the environment variable BREAKSHARE_POSTGRES_BIN (these
// two must do if given), then a bundle fetched into root, the PATH, and the
// newest of /usr/lib/postgresql. With want, a major version, it takes only
// that: data of one major version cannot be opened with another. It returns a
// *NotFoundError.
func Find(binDir, root, want string) (Binaries, error) {
	if dir := cmp.Or(binDir, os.Getenv(BinDirVariable)); dir != "" {
		b, err := inspect(dir)
		if err != nil {
			return Binaries{}, fmt.Errorf("PostgreSQL's binaries in %s: %w", dir, err)
		}
		if !b.serves(want) {
			return Binaries{}, &NotFoundError{Want: want, Looked: []string{dir}, Refused: []string{dir + " has " + b.Version}}
		}
		return b, nil
	}
	missing := &NotFoundError{Want: want}
	for _, dir := range candidates(root) {
		missing.Looked = append(missing.Looked, dir)
		if _, err := os.Stat(filepath.Join(dir, "postgres")); err != nil {
			continue
		}
		b, err := inspect(dir)
		switch {
		case err != nil:
			missing.Refused = append(missing.Refused, dir+": "+err.Error())
		case !b.serves(want):
			missing.Refused = append(missing.Refused, dir+" has "+b.Version)
		default:
			return b, nil
		}
	}
	return Binaries{}, missing
}

func (b Binaries) serves(want string) bool {
	if want != "" {
		return strconv.Itoa(b.Major) == want
	}
	return b.Major >= minMajor
}

// candidates lists folders to look in, in order.
func candidates(root string) []string {
	var dirs []string
	if root != "" {
		dirs = append(dirs, bundledBins(root)...)
	}
	if p, err := exec.LookPath("postgres"); err == nil {
		// A link in the PATH does not lead to initdb; its target's folder does.
		if real, err := filepath.EvalSymlinks(p); err == nil {
			p = real
		}
		dirs = append(dirs, filepath.Dir(p))
	}
	installed, _ := filepath.Glob("/usr/lib/postgresql/*/bin") // the pattern is well-formed
	slices.SortFunc(installed, func(a, b string) int { return cmp.Compare(folderMajor(b), folderMajor(a)) })
	dirs = append(dirs, installed...)
	if runtime.GOOS == "darwin" {
		dirs = append(dirs, "/opt/homebrew/opt/postgresql/bin", "/usr/local/opt/postgresql/bin")
	}
	return dirs
}

func folderMajor(bin string) int {
	n, _ := strconv.Atoi(filepath.Base(filepath.Dir(bin))) // no number sorts last
	return n
}

var versionText = regexp.MustCompile(`\(PostgreSQL\) (\d+)(\.\d+|[a-z]+\d+)?`)

// inspect runs the server for its version, which also proves that it starts on
// this machine.
func inspect(dir string) (Binaries, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return Binaries{}, err
	}
	b := Binaries{Initdb: filepath.Join(dir, "initdb"), Postgres: filepath.Join(dir, "postgres")}
	if _, err := os.Stat(b.Initdb); err != nil {
		return Binaries{}, fmt.Errorf("initdb is missing: %w", err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	out, err := exec.CommandContext(ctx, b.Postgres, "--version").CombinedOutput()
	if err != nil {
		return Binaries{}, fmt.Errorf("postgres --version: %w: %s", err, strings.TrimSpace(string(out)))
	}
	m := versionText.FindStringSubmatch(string(out))
	if m == nil {
		return Binaries{}, fmt.Errorf("postgres --version says %q, which names no version", strings.TrimSpace(string(out)))
	}
	b.Version = m[1] + m[2]
	b.Major, err = strconv.Atoi(m[1])
	return b, err
}
