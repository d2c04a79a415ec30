package web

import (
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"reflect"
	"slices"
	"strings"
	"sync"

	"breakshare.example/gateway/internal/words"
)

//go:embed templates
var templateFiles embed.FS

// shared are the files that every page is built with.
var shared = []string{"templates/layout.html", "templates/parts.html", "templates/waitinglist.html"}

// templatesOf are the templates of a language with its units. They are embedded, so that one
// parse serves every handler of the process.
func templatesOf(l *words.Language) (map[string]*template.Template, error) {
	parsed.Lock()
	defer parsed.Unlock()
	key := dialect{l.Tag(), l.Units()}
	if sets, ok := parsed.sets[key]; ok {
		return sets, nil
	}
	sets, err := parseTemplates(l)
	if err == nil {
		parsed.sets[key] = sets
	}
	return sets, err
}

// dialect is a language with its units.
type dialect struct {
	tag   string
	units words.Units
}

var parsed = struct {
	sync.Mutex
	sets map[dialect]map[string]*template.Template // by dialect, then page
}{sets: map[dialect]map[string]*template.Template{}}

// parseTemplates makes one template set for each page in one language: the layout, the parts
// and the page itself.
func parseTemplates(l *words.Language) (map[string]*template.Template, error) {
	files, err := fs.Glob(templateFiles, "templates/*.html")
	if err != nil {
		return nil, err
	}
	base, err := template.New("").Option("missingkey=error").Funcs(functions(l)).ParseFS(templateFiles, shared...)
	if err != nil {
		return nil, fmt.Errorf("what the pages share: %w", err)
	}
	sets := make(map[string]*template.Template)
	for _, file := range files {
		if slices.Contains(shared, file) {
			continue
		}
		set, err := base.Clone()
		if err == nil {
			set, err = set.ParseFS(templateFiles, file)
		}
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
		"count": l.Count, "weight": l.Weight, "mass": l.Mass, "wholemass": func(kg int64) string { return l.Whole(kg) + " " + l.MassUnit() }, "tonnes": l.Tonnes, "degrees": l.Degrees, "day": l.Day, "longday": l.LongDay, "shortday": l.ShortDay, "date": l.Date,
		"bdi": isolated,
		"species": func(name string) template.HTML {
			if l.Has("species." + name) {
				name = l.T("species." + name)
			}
			return isolated(name)
		},
		"input":    newInput,
		"add":      func(a, b int) int { return a + b },
		"int64":    toInt64,
		"packmass": func(packs, grams int64) string { return l.Mass(packs * grams) },
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
	List        string // id of a list to choose from; empty for none
}

// from offers the values of a list.
func (i input) from(list string) input {
	i.List = list
	return i
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
