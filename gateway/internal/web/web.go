// Package web owns the pages: server-rendered, usable without script, each built from what
// the services answer for whoever looks at it.
package web

import (
	"bytes"
	"embed"
	"fmt"
	"io/fs"
	"log/slog"
	"net/http"
	"time"

	"google.golang.org/grpc"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"

	"breakshare.example/gateway/internal/signin"
	"breakshare.example/gateway/internal/words"
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

//go:embed static
var static embed.FS

// Options is what the pages need. All fields must be set.
type Options struct {
	Log   *slog.Logger
	Clock clock.Clock
	// Dial gives the connection to a service by its short name.
	Dial func(service string) (*grpc.ClientConn, error)
	// Door remembers whom a visitor chose to be.
	Door *signin.Door
	// LiveEvery is how often what somebody looks at is read anew; 0 is 5 s.
	LiveEvery time.Duration
	// Closing ends live updates when it closes; nil never does.
	Closing <-chan struct{}
}

// Pages answers for every page.
type Pages struct {
	log       *slog.Logger
	clock     clock.Clock
	door      *signin.Door
	languages *words.Languages

	scheduling schedulingv1.SchedulingServiceClient
	compostlot compostlotv1.CompostLotServiceClient
	harvest    harvestv1.HarvestServiceClient
	order      orderv1.OrderServiceClient
	health     map[string]healthv1.HealthClient
	events     map[string]eventlogv1.EventLogServiceClient
	watching   *watching
}

// New returns the handler of all pages. Templates and texts that do not parse are an error at
// the start, not at the first visit.
func New(o Options) (http.Handler, error) {
	languages, err := words.Load()
	if err != nil {
		return nil, err
	}
	p := &Pages{log: o.Log, clock: o.Clock, door: o.Door, languages: languages, health: map[string]healthv1.HealthClient{}, events: map[string]eventlogv1.EventLogServiceClient{}, watching: newWatching(o.Log, o.LiveEvery, o.Closing)}
	for _, l := range languages.All() {
		if _, err := templatesOf(l); err != nil {
			return nil, err
		}
	}
	connections := map[string]marking{}
	for _, name := range serviceNames {
		conn, err := o.Dial(name)
		if err != nil {
			return nil, fmt.Errorf("dial %s: %w", name, err)
		}
		connections[name] = marking{conn}
		p.health[name] = healthv1.NewHealthClient(connections[name])
		p.events[name] = eventlogv1.NewEventLogServiceClient(connections[name])
	}
	p.scheduling = schedulingv1.NewSchedulingServiceClient(connections["scheduling"])
	p.compostlot = compostlotv1.NewCompostLotServiceClient(connections["compostlot"])
	p.harvest = harvestv1.NewHarvestServiceClient(connections["harvest"])
	p.order = orderv1.NewOrderServiceClient(connections["order"])
	return p.routes()
}

// serviceNames are the services in the order in which the pages name them.
var serviceNames = []string{"scheduling", "compostlot", "harvest", "order"}

func (p *Pages) routes() (http.Handler, error) {
	assets, err := fs.Sub(static, "static")
	if err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	mux.Handle("GET /static/", http.StripPrefix("/static/", cached(http.FileServerFS(assets))))
	mux.HandleFunc("GET /{$}", p.bare(p.home))
	mux.HandleFunc("GET /start", p.bare(p.showStart))
	mux.HandleFunc("POST /start", p.bare(p.choose))
	mux.HandleFunc("POST /language", p.bare(p.chooseLanguage))
	mux.HandleFunc("GET /health", p.bare(func(v *visit) (view, error) { return p.showHealth(v, newForm()) }))
	mux.HandleFunc("POST /health/retry", p.bare(submit(p.retryLetter, p.showHealth, nil)))
	mux.HandleFunc("GET /live/health", p.stream(p.healthParts))
	mux.HandleFunc("GET /live/tomorrow", p.stream(p.tomorrowParts))
	mux.HandleFunc("GET /live/lots/{lot}", p.stream(p.lotParts))
	mux.HandleFunc("GET /waiting", p.bare(p.showWaiting))
	mux.HandleFunc("GET /app.webmanifest", p.showManifest)
	worker, err := worker(assets)
	if err != nil {
		return nil, err
	}
	mux.HandleFunc("GET /worker.js", worker)
	mux.HandleFunc("POST /waited/push", p.waited(p.waitedPush))
	mux.HandleFunc("POST /waited/pick/weigh", p.waited(p.waitedWeighing))
	mux.HandleFunc("GET /feeds/{coop}/{file}", p.bare(p.readFeed))
	mux.HandleFunc("GET /round/photo/{incident}", p.page(p.showPhoto))
	mux.HandleFunc("GET /lots/{lot}/report.pdf", p.page(p.lotDocument))
	mux.HandleFunc("GET /quarter/crops.csv", p.page(p.exportCrops))
	p.addSettings(mux)
	p.addOrders(mux)
	mux.HandleFunc("GET /notes", p.page(func(v *visit) (view, error) { return p.showNotes(v, newForm()) }))
	mux.HandleFunc("GET /share", p.page(func(v *visit) (view, error) { return p.showShare(v, newForm()) }))
	for path, show := range map[string]func(*visit, *form) (view, error){
		"/tomorrow": p.showTomorrow, "/trace": p.showTrace, "/quarter": p.showQuarter, "/scores": p.showScores, "/slots": p.showSlots,
		"/push": p.showPush, "/pick": p.showPick, "/rooms": kept(p.showRooms),
		"/round": kept(p.showRound), "/cold": kept(p.showCold), "/feeds": p.showFeeds, "/line": p.showLine, "/entry": p.showEntry, "/proposals": p.showProposals, "/whatif": p.showWhatIf, "/lots": p.showLots, "/lots/{lot}": p.showLot,
	} {
		mux.HandleFunc("GET "+path, p.page(func(v *visit) (view, error) { return show(v, newForm()) }))
	}
	for path, handle := range map[string]func(*visit) (view, error){
		"/tomorrow/run": submit(p.runMatch, p.showTomorrow, nil), "/tomorrow/rebalance": submit(p.rebalance, p.showTomorrow, nil),
		"/line/pin": submit(p.pinLine, p.showLine, afterDot), "/line/unpin": submit(p.removePin, p.showTomorrow, nil),
		"/tomorrow/confirm": submit(p.confirmMatch, p.showTomorrow, nil),
		"/slots/confirm":    submit(p.confirmShares, p.showSlots, nil), "/slots/publish": submit(p.publishSlot, p.showSlots, afterDot),
		"/push": p.push, "/pick/weigh": p.weighIn, "/pick/correct": p.correctIn, "/pick/dispatch": submit(p.dispatch, p.showPick, nil),
		"/rooms/stage": submit(p.recordStage, p.showRooms, nil), "/rooms/compost": submit(p.askCompost, p.showRooms, afterDot),
		"/lots/{lot}/release": submit(p.releaseLot, p.showLot, nil), "/lots/{lot}/hold": submit(p.holdLot, p.showLot, nil),
		"/lots/{lot}/turn": submit(p.recordTurn, p.showLot, turnField), "/slots/withdraw": submit(p.withdrawSlot, p.showSlots, nil),
		"/round/report": submit(p.reportIncident, p.showRound, afterDot), "/round/close": submit(p.closeIncident, p.showRound, nil),
		"/lots/{lot}/deliver": submit(p.deliverLot, p.showLot, nil),
		"/proposals/accept":   submit(p.acceptFills, p.showProposals, nil), "/whatif": submit(p.whatIf, p.showWhatIf, nil),
		"/feeds/create": submit(p.createFeed, p.showFeeds, nil), "/feeds/revoke": submit(p.revokeFeed, p.showFeeds, nil),
	} {
		mux.HandleFunc("POST "+path, p.page(handle))
	}
	p.planningRoutes(mux)
	p.yardRoutes(mux)
	p.growerRoutes(mux)
	mux.HandleFunc("/", p.bare(func(v *visit) (view, error) {
		return view{}, fault.New(fault.NotFound, "NO_PAGE", "%s", v.words.T("problem.no_page"))
	}))
	return mux, nil
}

// cached lets browsers keep what is embedded, for as long as a shift: a new version is seen
// the same day.
func cached(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "max-age=3600")
		next.ServeHTTP(w, r)
	})
}

// view is what a handler wants shown: a template with its data, another address to go to, or
// a file to save.
type view struct {
	template string
	title    string // key of the text
	data     any
	goTo     string
	keep     string // the name that a grower's phone may keep the page under; empty for not
	live     string // the address of the stream that keeps the page up to date; empty for none
	status   int
	file     *schedulingv1.Content
}

// frame is what the layout knows beside the page's own data.
type frame struct {
	Title     string
	Coop      string
	Who       identity.Identity
	Nav       []navItem
	Languages []languageItem
	Path      string
	Waits     bool   // the scripts for what waits are needed
	Person    string // whose waiting forms may be shown; empty for nobody's
	Live      string // the stream that keeps the page up to date; empty for none
	Data      any
}

// write builds a page whole before its first byte is sent, so that an error never leaves half
// a page.
func (p *Pages) write(w http.ResponseWriter, v *visit, shown view) {
	f := frame{Title: v.words.T(shown.title), Coop: v.coop.GetName(), Who: v.who, Nav: navOf(v), Path: v.r.URL.RequestURI(), Live: shown.live, Data: shown.data}
	if v.r.Method != http.MethodGet {
		f.Path = "/"
	}
	if f.Waits = worksOffline(v) || v.r.URL.Path == "/start"; worksOffline(v) && v.r.URL.Path != "/start" {
		f.Person = personKey(v.who)
	}
	for _, l := range p.languages.All() {
		f.Languages = append(f.Languages, languageItem{Tag: l.Tag(), Name: l.T("language.name"), Current: l.Tag() == v.words.Tag()})
	}
	var built bytes.Buffer
	sets, err := templatesOf(v.words)
	if err == nil {
		err = sets[shown.template].ExecuteTemplate(&built, "layout", f)
	}
	if err != nil {
		p.log.ErrorContext(v.ctx, "page not built", "template", shown.template, "error", err)
		http.Error(w, v.words.T("problem.not_built"), http.StatusInternalServerError)
		return
	}
	v.cost.tell(w)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Language", v.words.Tag())
	w.Header().Set("Cache-Control", "no-store")
	if v.known {
		w.Header().Set(personHeader, personKey(v.who))
	}
	if shown.keep != "" && worksOffline(v) && v.r.Method == http.MethodGet {
		w.Header().Set(keepHeader, shown.keep)
	}
	if shown.status != 0 {
		w.WriteHeader(shown.status)
	}
	// The visitor may be gone; there is nobody left to tell.
	_, _ = built.WriteTo(w)
}
