package web

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash/fnv"
	"html/template"
	"log/slog"
	"maps"
	"net/http"
	"regexp"
	"sync"
	"time"

	"breakshare.example/gateway/internal/words"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

const (
	// liveEvery is how often what somebody looks at is read anew, once for all who look at it.
	liveEvery = 5 * time.Second
	// livePatience is how long one reading may take.
	livePatience = 10 * time.Second
	// heartbeat is how often a silent stream shows that it lives.
	heartbeat = 15 * time.Second
	// mostStreams are open at once, and mostOfCoop of one co-op.
	mostStreams, mostOfCoop = 1000, 200
)

// part is a piece of a page that is kept up to date: what it shows, and what tells one state of
// it from another.
type part struct {
	HTML    template.HTML `json:"html"`
	Version string        `json:"version"`
}

// update is what a stream tells: the time, and the parts as they are now.
type update struct {
	At    string          `json:"at"`
	Parts map[string]part `json:"parts"`
}

// watching reads what visitors look at, as long as they do, and tells them of changes.
type watching struct {
	log     *slog.Logger
	every   time.Duration
	closing <-chan struct{} // nil never closes

	mu    sync.Mutex
	views map[string]*watched
	coops map[string]int // streams by co-op
	all   int
}

// watched is one view that some look at.
type watched struct {
	stop  context.CancelFunc
	heard map[chan update]bool
	last  update
}

func newWatching(log *slog.Logger, every time.Duration, closing <-chan struct{}) *watching {
	if every <= 0 {
		every = liveEvery
	}
	return &watching{log: log, every: every, closing: closing, views: map[string]*watched{}, coops: map[string]int{}}
}

// look begins to look at a view, which the first one to look read as now. It returns where
// changes are told and what ends it; false where too many look already.
func (w *watching) look(key, coop string, now update, read func(context.Context) (update, error)) (<-chan update, func(), bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.all >= mostStreams || w.coops[coop] >= mostOfCoop {
		return nil, nil, false
	}
	w.all++
	w.coops[coop]++
	told := make(chan update, 1)
	seen := w.views[key]
	if seen == nil {
		ctx, stop := context.WithCancel(context.Background())
		seen = &watched{stop: stop, heard: map[chan update]bool{}}
		w.views[key] = seen
		go w.follow(ctx, seen, read)
	}
	w.tell(seen, now)
	seen.heard[told] = true
	return told, func() { w.leave(key, coop, told) }, true
}

func (w *watching) leave(key, coop string, told chan update) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.all--
	if w.coops[coop]--; w.coops[coop] == 0 {
		delete(w.coops, coop)
	}
	seen := w.views[key]
	delete(seen.heard, told)
	if len(seen.heard) == 0 {
		seen.stop()
		delete(w.views, key)
	}
}

// follow reads a view time and again until nobody looks. What cannot be read just now is told
// when it can be again.
func (w *watching) follow(ctx context.Context, seen *watched, read func(context.Context) (update, error)) {
	tick := time.NewTicker(w.every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		reading, done := context.WithTimeout(ctx, livePatience)
		now, err := read(reading)
		done()
		if err != nil {
			w.log.WarnContext(ctx, "live view not read", "error", err)
			continue
		}
		w.mu.Lock()
		w.tell(seen, now)
		w.mu.Unlock()
	}
}

// tell tells all who look of a change. Who has not taken the last one gets this one instead.
// The caller holds the lock.
func (w *watching) tell(seen *watched, now update) {
	same := func(a, b part) bool { return a.Version == b.Version }
	if maps.EqualFunc(seen.last.Parts, now.Parts, same) {
		return
	}
	seen.last = now
	for told := range seen.heard {
		select {
		case <-told:
		default:
		}
		told <- now
	}
}

// stream answers with the server-sent events of a page (HTML Living Standard, section 9.2): its
// parts at once, and again when they change.
func (p *Pages) stream(parts func(*visit) (map[string]part, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v := p.visitOf(w, r)
		if !v.known {
			http.Error(w, v.words.T("nobody.title"), http.StatusUnauthorized)
			return
		}
		read := p.reader(v, parts)
		now, err := read(v.ctx)
		if err != nil {
			http.Error(w, v.words.T("problem.title"), faultOf(err).Kind.HTTP())
			return
		}
		who := v.who
		who.Name = ""
		told, leave, ok := p.watching.look(fmt.Sprint(who, v.words.Tag(), r.URL.RequestURI()), who.CoopID, now, read)
		if !ok {
			w.Header().Set("Retry-After", "60")
			http.Error(w, v.words.T("live.too_many"), fault.Exhausted.HTTP())
			return
		}
		defer leave()
		p.sendEvents(w, r, now, told)
	}
}

// reader reads the parts of a page in the name and the language of a visitor, whose own request
// may have ended.
func (p *Pages) reader(first *visit, parts func(*visit) (map[string]part, error)) func(context.Context) (update, error) {
	return func(ctx context.Context) (update, error) {
		v := &visit{r: first.r, who: first.who, known: true, words: first.words, now: p.clock.Now(), zone: time.UTC}
		v.ctx = words.With(identity.With(ctx, v.who), v.words)
		found, err := parts(v)
		at := v.now.In(v.zone).Format("15:04")
		if v.zone == time.UTC {
			at += " UTC"
		}
		return update{At: at, Parts: found}, err
	}
}

// sendEvents writes the stream until the visitor leaves or the server stops.
func (p *Pages) sendEvents(w http.ResponseWriter, r *http.Request, now update, told <-chan update) {
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no") // proxies must not hold it back
	out := http.NewResponseController(w)
	beat := time.NewTicker(heartbeat)
	defer beat.Stop()
	text := event(now)
	for {
		if _, err := w.Write(text); err != nil {
			return
		}
		if err := out.Flush(); err != nil {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-p.watching.closing:
			return
		case now = <-told:
			text = event(now)
		case <-beat.C:
			text = []byte(": alive\n\n")
		}
	}
}

func event(u update) []byte {
	var built bytes.Buffer
	built.WriteString("retry: 5000\ndata: ")
	// It is one line: JSON escapes the others. Nothing in it cannot be written.
	_ = json.NewEncoder(&built).Encode(u)
	built.WriteByte('\n')
	return built.Bytes()
}

// requestID is what differs each time a form is built.
var requestID = regexp.MustCompile(`name="request_id" value="[^"]*"`)

// part builds a piece of a page by its own template.
func (p *Pages) part(v *visit, page, piece string, data any) (part, error) {
	sets, err := templatesOf(v.words)
	if err != nil {
		return part{}, err
	}
	var built bytes.Buffer
	if err := sets[page].ExecuteTemplate(&built, piece, data); err != nil {
		return part{}, fmt.Errorf("piece %s of page %s: %w", piece, page, err)
	}
	sum := fnv.New64a()
	sum.Write(requestID.ReplaceAll(built.Bytes(), nil))
	return part{template.HTML(built.String()), hex.EncodeToString(sum.Sum(nil))}, nil
}

// at is the visit as if it asked for another page, whose links and tables then lead back there.
func (v *visit) at(path string) *visit {
	r := v.r.Clone(v.ctx)
	r.URL.Path, r.URL.RawPath = path, ""
	there := *v
	there.r = r
	return &there
}
