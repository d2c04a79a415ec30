// Package words owns every text of the pages in every language the suite speaks, and how
// each language writes numbers, masses, money and dates. English is complete by definition;
// a test holds the others to it. What services answer (reasons, findings, errors) is English
// and is marked so on the pages.
package words

import (
	"context"
	"embed"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"sync"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
)

//go:embed *.json
var catalogues embed.FS

// tags are the languages spoken, the fallback first.
var tags = []language.Tag{language.English, language.German}

// Message is one text, by plural form ("one", "other"; CLDR names). A text that counts
// nothing has "other" only. {0}, {1}… stand for what is filled in.
type Message map[string]string

// UnmarshalJSON takes a plain string for a text without plural forms.
func (m *Message) UnmarshalJSON(data []byte) error {
	var plain string
	if err := json.Unmarshal(data, &plain); err == nil {
		*m = Message{"other": plain}
		return nil
	}
	var forms map[string]string
	if err := json.Unmarshal(data, &forms); err != nil {
		return err
	}
	if forms["other"] == "" {
		return fmt.Errorf("a text needs the form \"other\": %s", data)
	}
	*m = forms
	return nil
}

// Language writes texts in one language.
type Language struct {
	tag      language.Tag
	messages map[string]Message // with the units filled in
	raw      map[string]Message
	units    Units
	variants map[Units]*Language
}

// Languages are all the suite speaks.
type Languages struct {
	all     []*Language
	matcher language.Matcher
}

// Load reads the catalogues.
func Load() (*Languages, error) { return load() }

// load reads them once: they are embedded and never change.
var load = sync.OnceValues(read)

func read() (*Languages, error) {
	ls := &Languages{matcher: language.NewMatcher(tags)}
	for _, tag := range tags {
		l := &Language{tag: tag}
		content, err := catalogues.ReadFile(tag.String() + ".json")
		if err != nil {
			return nil, err
		}
		if err := json.Unmarshal(content, &l.messages); err != nil {
			return nil, fmt.Errorf("texts %s: %w", tag, err)
		}
		l.withUnits()
		ls.all = append(ls.all, l)
	}
	return ls, nil
}

// All returns the languages, English first.
func (ls *Languages) All() []*Language { return ls.all }

// Match returns the best language for what a visitor chose and, where they chose nothing,
// for what their browser asks for (an Accept-Language header).
func (ls *Languages) Match(chosen, accepted string) *Language {
	_, i := language.MatchStrings(ls.matcher, chosen, accepted)
	return ls.all[i]
}

// Tag is the BCP 47 tag, for example "en".
func (l *Language) Tag() string { return l.tag.String() }

// Has reports whether there is a text for the key.
func (l *Language) Has(key string) bool { return l.messages[key] != nil }

// Messages are the texts by key as they stand in the catalogue, for tests.
func (l *Language) Messages() map[string]Message { return l.raw }

// T is the text of a key with its places filled in. A whole number is written as the language
// writes it; an unknown key is returned as it is.
func (l *Language) T(key string, args ...any) string {
	return l.fill(key, "other", args)
}

// N is the text of a key in the plural form for n; {0} is n, the others follow.
func (l *Language) N(key string, n int64, args ...any) string {
	return l.fill(key, l.form(n), append([]any{n}, args...))
}

func (l *Language) fill(key, form string, args []any) string {
	message, ok := l.messages[key]
	if !ok {
		return key
	}
	text, ok := message[form]
	if !ok {
		text = message["other"]
	}
	if len(args) == 0 {
		return text
	}
	pairs := make([]string, 0, 2*len(args))
	for i, arg := range args {
		pairs = append(pairs, "{"+strconv.Itoa(i)+"}", l.value(arg))
	}
	return strings.NewReplacer(pairs...).Replace(text)
}

func (l *Language) value(arg any) string {
	switch v := arg.(type) {
	case string:
		return v
	case int:
		return l.Count(int64(v))
	case int32:
		return l.Count(int64(v))
	case int64:
		return l.Count(v)
	default:
		return fmt.Sprint(v)
	}
}

// form is the CLDR plural form of a whole number.
func (l *Language) form(n int64) string {
	if n < 0 {
		n = -n
	}
	switch plural.Cardinal.MatchPlural(l.tag, int(n), 0, 0, 0, 0) {
	case plural.Zero:
		return "zero"
	case plural.One:
		return "one"
	case plural.Two:
		return "two"
	case plural.Few:
		return "few"
	case plural.Many:
		return "many"
	default:
		return "other"
	}
}

type contextKey struct{}

// With returns a context whose pages are written in l.
func With(ctx context.Context, l *Language) context.Context {
	return context.WithValue(ctx, contextKey{}, l)
}

// From is the language of a context. It panics where there is none: call it behind the pages'
// own entry only.
func From(ctx context.Context) *Language { return ctx.Value(contextKey{}).(*Language) }
