package localpg

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// account is the user PostgreSQL runs as. PostgreSQL refuses root, so a root
// process lends it another: postgres where that user exists, else nobody.
type account struct {
	name     string
	uid, gid int
	switches bool // whether it is another user than this process
}

func serverAccount() (account, error) {
	if os.Geteuid() != 0 {
		return account{uid: os.Geteuid(), gid: os.Getegid()}, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, uerr := strconv.Atoi(u.Uid)
		gid, gerr := strconv.Atoi(u.Gid)
		if uerr == nil && gerr == nil && uid != 0 {
			return account{name: name, uid: uid, gid: gid, switches: true}, nil
		}
	}
	return account{}, errors.New("PostgreSQL does not run as root, and there is neither a user postgres nor nobody: create one (useradd --system postgres), or start as an ordinary user")
}

func (a account) attributes() *syscall.SysProcAttr {
	attr := &syscall.SysProcAttr{}
	if a.switches {
		attr.Credential = &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid)}
	}
	return attr
}

// environment is what the server needs of ours: PG* variables meant for
// clients would confuse it, and messages must be in the language we look for.
func (a account) environment() []string {
	env := []string{"LC_ALL=C", "TZ=UTC"}
	for _, name := range []string{"PATH", "LD_LIBRARY_PATH", "TMPDIR"} {
		if v, ok := os.LookupEnv(name); ok {
			env = append(env, name+"="+v)
		}
	}
	return env
}

// makeFolder makes a folder for the account alone and sees that the account
// can reach it.
func (a account) makeFolder(dir string) error {
	// New parents are for everybody to enter, the folder itself is not.
	if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
		return fmt.Errorf("make folder %s: %w", filepath.Dir(dir), err)
	}
	if err := os.Mkdir(dir, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("make folder %s: %w", dir, err)
	}
	if err := os.Chmod(dir, 0o700); err != nil {
		return fmt.Errorf("close folder %s to others: %w", dir, err)
	}
	if err := a.own(dir); err != nil {
		return err
	}
	return a.checkReach(dir)
}

func (a account) own(path string) error {
	if !a.switches {
		return nil
	}
	if err := os.Lchown(path, a.uid, a.gid); err != nil {
		return fmt.Errorf("give %s to user %s: %w", path, a.name, err)
	}
	return nil
}

// takeOver gives the data and the fetched binaries to the account; an earlier
// run may have been another user's.
func (a account) takeOver(p paths) error {
	if !a.switches {
		return nil
	}
	for _, dir := range []string{p.data, p.bundle} {
		if err := a.ownTree(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

func (a account) ownTree(root string) error {
	return filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return fmt.Errorf("give %s to user %s: %w", path, a.name, err)
		}
		if info, err := d.Info(); err == nil {
			if st, ok := info.Sys().(*syscall.Stat_t); ok && int(st.Uid) == a.uid && int(st.Gid) == a.gid {
				return nil
			}
		}
		return a.own(path)
	})
}

// checkReach walks up from the folder: the account must be allowed to enter
// each parent.
func (a account) checkReach(dir string) error {
	if !a.switches {
		return nil
	}
	for parent := filepath.Dir(dir); ; parent = filepath.Dir(parent) {
		info, err := os.Stat(parent)
		if err != nil {
			return fmt.Errorf("look at %s: %w", parent, err)
		}
		if !a.mayEnter(info) {
			return fmt.Errorf("user %s, as whom PostgreSQL runs, cannot enter %s and so not reach %s: chmod o+x %s, or choose a data folder elsewhere (for example /var/lib/breakshare)", a.name, parent, dir, parent)
		}
		if parent == filepath.Dir(parent) {
			return nil
		}
	}
}

func (a account) mayEnter(info fs.FileInfo) bool {
	mode := info.Mode().Perm()
	st, ok := info.Sys().(*syscall.Stat_t)
	switch {
	case ok && int(st.Uid) == a.uid:
		return mode&0o100 != 0
	case ok && int(st.Gid) == a.gid:
		return mode&0o010 != 0
	}
	return mode&0o001 != 0
}
