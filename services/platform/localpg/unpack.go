package localpg

import (
	"archive/tar"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"strings"
)

const (
	// packed is where the package keeps what we need.
	packed = "package/native/"
	// symlinkList names the links the libraries need; npm archives carry none.
	symlinkList = "pg-symlinks.json"
	maxUnpacked = 1 << 30 // bytes
)

// unpack writes the part of an npm archive below package/native into dir and
// makes the symbolic links its list asks for. Everything stays inside dir: a
// name that leads out is an error, and so is any entry but a plain file.
func unpack(archive io.Reader, dir string) error {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer root.Close()
	gz, err := gzip.NewReader(archive)
	if err != nil {
		return fmt.Errorf("not a gzip file: %w", err)
	}
	left := int64(maxUnpacked)
	entries := tar.NewReader(gz)
	for {
		h, err := entries.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return fmt.Errorf("read the archive: %w", err)
		}
		if left -= h.Size; left < 0 {
			return fmt.Errorf("the archive holds more than %d bytes", maxUnpacked)
		}
		if err := unpackEntry(root, h, entries); err != nil {
			return fmt.Errorf("entry %q: %w", h.Name, err)
		}
	}
	return link(root)
}

func unpackEntry(root *os.Root, h *tar.Header, content io.Reader) error {
	if !filepath.IsLocal(h.Name) {
		return errors.New("its name leads out of the folder")
	}
	name, ours := strings.CutPrefix(path.Clean(h.Name), packed)
	if !ours || h.Typeflag == tar.TypeDir {
		return nil
	}
	if h.Typeflag != tar.TypeReg {
		return errors.New("it is no plain file")
	}
	if err := root.MkdirAll(path.Dir(name), 0o755); err != nil {
		return err
	}
	mode := os.FileMode(0o644)
	if h.FileInfo().Mode()&0o100 != 0 {
		mode = 0o755
	}
	f, err := root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return err
	}
	_, err = io.Copy(f, content)
	return errors.Join(err, f.Close())
}

// link makes the symbolic links, relative so that the folder can be moved.
func link(root *os.Root) error {
	text, err := root.ReadFile(symlinkList)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	var links []struct{ Source, Target string }
	if err := json.Unmarshal(text, &links); err != nil {
		return fmt.Errorf("%s: %w", symlinkList, err)
	}
	for _, l := range links {
		file, fok := inBundle(l.Source)
		name, nok := inBundle(l.Target)
		if !fok || !nok {
			return fmt.Errorf("%s: link %q to %q leads out of the folder", symlinkList, l.Target, l.Source)
		}
		to, err := filepath.Rel(path.Dir(name), file)
		if err != nil {
			return fmt.Errorf("%s: %w", symlinkList, err)
		}
		if err := root.Symlink(to, name); err != nil {
			return fmt.Errorf("%s: %w", symlinkList, err)
		}
	}
	return nil
}

// inBundle cuts "native/" off a path of the list.
func inBundle(p string) (string, bool) {
	name, ok := strings.CutPrefix(path.Clean(p), "native/")
	return name, ok && filepath.IsLocal(name)
}
