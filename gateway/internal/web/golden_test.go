package web_test

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/platform/identity"
)

var update = flag.Bool("update", false, "write the golden pages anew")

// minted are the ids that differ with every rendering.
var minted = regexp.MustCompile(`name="request_id" value="[0-9a-f-]{36}"`)

// TestGoldenPages compares whole pages, so that a change of one part that shows elsewhere is
// seen in review.
func TestGoldenPages(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		who  identity.Identity
		path string
	}{"tomorrow": {coordinator, "/tomorrow"}, "push": {grower, "/push"}, "lot": {manager, "/lots/quarry-end-26-42"}} {
		got := minted.ReplaceAllString(visit(t, c.who).get(c.path).ok().text, `name="request_id" value="REQUEST"`)
		file := filepath.Join("testdata", name+".golden.html")
		if *update {
			if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(string(want), got); diff != "" {
			t.Errorf("%s has changed; look at it, then run the test with -update:\n%s", name, diff)
		}
	}
}
