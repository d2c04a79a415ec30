package web

import (
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"reflect"
	"strings"

	"breakshare.example/gateway/internal/words"
)

//go:embed templates
var templateFiles embed.FS

// shared are the files that every page is built with.
var shared = []string{"templates/layout.html", "templates/parts.html"}

// parseTemplates makes one template set for each page in one language: the layout, the parts
// and the page itself.
func parseTemplates(l *words.Language) (map[string]*template.Template, error) {
	files, err := fs.Glob(templateFiles, "templates/*.html")
	if err != nil {
		return nil, err
	}
	sets := make(map[string]*template.Template)
	for _, file := range files {
		if file == shared[0] || file == shared[1] {
			continue
		}
		set, err := template.New("").Option("missingkey=error").Funcs(functions(l)).ParseFS(templateFiles, shared[0], shared[1], file)
		if err != nil {
			return nil, fmt.Errorf("page %s: %w", file, err)
		}
		sets[strings.TrimSuffix(path.Base(file), ".html")] = set
	}
	return sets, nil
}

// functions are what the templates can say beside plain values.
func functions(l *words.Language) template.FuncMap {
	return template.FuncMap{
		"t": l.T, "n": l.N, "lang": l.Tag,
		"count": l.Count, "kg": l.Kilograms, "tonnes": l.Tonnes, "day": l.Day, "longday": l.LongDay, "shortday": l.ShortDay, "date": l.Date,
		"bdi": isolated,
		"species": func(name string) template.HTML {
			if l.Has("species." + name) {
				name = l.T("species." + name)
			}
			return isolated(name)
		},
		"input":  newInput,
		"add":    func(a, b int) int { return a + b },
		"int64":  toInt64,
		"packkg": func(packs, grams int64) string { return l.Kilograms(packs * grams) },
	}
}

// isolated shows a name that somebody chose: its direction cannot turn the text around it,
// and it cannot hide characters.
func isolated(name string) template.HTML {
	visible := strings.Map(func(r rune) rune {
		switch {
		case r < ' ', r == 0x7f, r >= 0x80 && r < 0xa0, // controls
			r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069, // directional overrides
			r == 0x200b, r == 0x2060, r == 0xfeff: // nothing at all
			return -1
		}
		return r
	}, name)
	return template.HTML("<bdi>" + template.HTMLEscapeString(visible) + "</bdi>")
}

// input is one field of a form for the part that draws it.
type input struct {
	Form        *form
	Name, Label string
	Value, Unit string
	Kind        string
	ID          string
}

// newInput makes a field of a kind: "text", "kg", "whole", "date". id keeps several forms on a
// page apart.
func newInput(f *form, id, kind, name, label, value, unit string) input {
	return input{Form: f, ID: id + "-" + name, Kind: kind, Name: name, Label: label, Value: f.Value(name, value), Unit: unit}
}

// English tells that the error is in a service's own words.
func (i input) English() bool { return i.Form.English }

// Error is what is wrong with the field; empty where nothing is.
func (i input) Error() string { return i.Form.Error(i.Name) }

// toInt64 widens what templates count.
func toInt64(n any) int64 { return reflect.ValueOf(n).Int() }
