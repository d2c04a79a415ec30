package browser

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"breakshare.example/scripts/npmfile"
)

// axe-core is the accessibility checker of Deque Systems (MPL-2.0); it is used in tests only.
var axePackage = npmfile.Package{
	Name: "axe-core", Version: "4.14.1",
	Integrity: "sha512-FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ==",
}

const cache = "../../../.cache/axe-core"

// axeCore is the checker's source.
func axeCore(t *testing.T) string {
	t.Helper()
	if err := npmfile.Fetch(axePackage, []string{"axe.min.js"}, cache); err != nil {
		t.Fatalf("the accessibility checker is missing: %v", err)
	}
	source, err := os.ReadFile(filepath.Join(cache, "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	return string(source)
}

// What is checked: the rules of WCAG 2.2 AA and those that the checker's makers call best
// practice; and of these, those alone that depend on the width and the scheme of colours.
const (
	allRules  = `["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]`
	lookRules = `{type: "rule", values: ["color-contrast", "target-size", "scrollable-region-focusable"]}`
)

func check(rules string) string {
	return `axe.run(document, {runOnly: ` + rules + `}).then(r => JSON.stringify(
  r.violations.map(v => ({rule: v.id, help: v.help, where: v.nodes.map(n => n.html + " " + n.failureSummary)}))))`
}

// noViolations wants the checker, which the page must hold, to find nothing.
func (r *rig) noViolations(path, rules string) {
	r.t.Helper()
	answer := run(r, chromedp.Evaluate[string](check(rules), chromedp.EvalAwaitPromise))
	var found []struct {
		Rule, Help string
		Where      []string
	}
	if err := json.Unmarshal([]byte(answer), &found); err != nil {
		r.t.Fatal(err)
	}
	for _, f := range found {
		r.t.Errorf("%s: %s (%s):\n  %s", path, f.Rule, f.Help, strings.Join(f.Where, "\n  "))
	}
}
