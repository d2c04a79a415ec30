package web

import (
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"strconv"
	"strings"
	"time"
)

//go:embed templates
var templateFiles embed.FS

const layoutFile = "templates/layout.html"

// parseTemplates makes one template set for each page: the layout and the page itself.
func parseTemplates() (map[string]*template.Template, error) {
	files, err := fs.Glob(templateFiles, "templates/*.html")
	if err != nil {
		return nil, err
	}
	sets := make(map[string]*template.Template)
	for _, file := range files {
		if file == layoutFile {
			continue
		}
		set, err := template.New("").Funcs(functions).ParseFS(templateFiles, layoutFile, file)
		if err != nil {
			return nil, fmt.Errorf("page %s: %w", file, err)
		}
		sets[strings.TrimSuffix(path.Base(file), ".html")] = set
	}
	return sets, nil
}

// functions are what the templates can say beside plain values.
var functions = template.FuncMap{
	"count": count,
	"kg":    kilograms,
	"day":   dayInWords,
}

// count writes a whole number with its thousands apart, by a thin space that does not break.
func count(n int64) string {
	digits := strconv.FormatInt(n, 10)
	sign := ""
	if n < 0 {
		sign, digits = "−", digits[1:]
	}
	for i := len(digits) - 3; i > 0; i -= 3 {
		digits = digits[:i] + "\u202f" + digits[i:]
	}
	return sign + digits
}

// kilograms writes grams as kilograms with one decimal, rounded half away from zero.
func kilograms(grams int64) string {
	sign := ""
	if grams < 0 {
		sign, grams = "−", -grams
	}
	tenths := (grams + 50) / 100
	return fmt.Sprintf("%s%s.%d", sign, count(tenths/10), tenths%10)
}

// dayInWords writes an ISO date as "Thursday 26 November 2026", and leaves anything else as
// it is.
func dayInWords(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return t.Format("Monday 2 January 2006")
}
