package coopfiles

import (
	"fmt"
	"strings"
)

// Describe is the documentation of every file and column in Markdown, as it stands in the
// README at the top of the tree.
func Describe() string {
	var b strings.Builder
	for _, t := range Tables() {
		fmt.Fprintf(&b, "#### %s\n\n%s", t.File, t.About)
		if t.Needed {
			b.WriteString(" This file must be there.")
		}
		if len(t.Key) > 0 {
			fmt.Fprintf(&b, " Once for each `%s`.", strings.Join(t.Key, "` with `"))
		}
		b.WriteString("\n\n| column | what it is | what is expected | example |\n| --- | --- | --- | --- |\n")
		for _, c := range t.Columns {
			expected := c.Expected
			if c.Refers != "" {
				expected += ", of `" + c.Refers + "`"
			}
			if c.MayBeEmpty {
				expected += "; may be empty"
			}
			if c.MayLack {
				expected += "; the column may be left out"
			}
			fmt.Fprintf(&b, "| `%s` | %s | %s | `%s` |\n", c.Name, c.Meaning, expected, c.Example)
		}
		b.WriteString("\n")
	}
	return b.String()
}
