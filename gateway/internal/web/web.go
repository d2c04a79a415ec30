// Package web owns the pages: server-rendered, usable without script, each built from what
// the services answer for whoever looks at it.
package web

import (
	"bytes"
	"embed"
	"errors"
	"html/template"
	"io/fs"
	"log/slog"
	"net/http"

	"google.golang.org/grpc"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

//go:embed static
var static embed.FS

// Pages answers for every page.
type Pages struct {
	log       *slog.Logger
	clock     clock.Clock
	templates map[string]*template.Template

	scheduling schedulingv1.SchedulingServiceClient
	order      orderv1.OrderServiceClient
}

// New returns the handler of all pages. Templates that do not parse are an error at the
// start, not at the first visit.
func New(log *slog.Logger, clk clock.Clock, dial func(service string) (*grpc.ClientConn, error)) (http.Handler, error) {
	templates, err := parseTemplates()
	if err != nil {
		return nil, err
	}
	scheduling, err := dial("scheduling")
	if err != nil {
		return nil, err
	}
	order, err := dial("order")
	if err != nil {
		return nil, err
	}
	p := &Pages{
		log: log, clock: clk, templates: templates,
		scheduling: schedulingv1.NewSchedulingServiceClient(scheduling),
		order:      orderv1.NewOrderServiceClient(order),
	}
	assets, err := fs.Sub(static, "static")
	if err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	mux.Handle("GET /static/", http.StripPrefix("/static/", http.FileServerFS(assets)))
	mux.Handle("GET /{$}", http.RedirectHandler("/tomorrow", http.StatusSeeOther))
	mux.HandleFunc("GET /tomorrow", p.page(p.showTomorrow))
	mux.HandleFunc("POST /tomorrow/run", p.page(p.runMatch))
	mux.HandleFunc("POST /tomorrow/confirm", p.page(p.confirmMatch))
	mux.HandleFunc("/", p.page(func(*http.Request) (view, error) {
		return view{}, fault.New(fault.NotFound, "NO_PAGE", "There is no page at this address.")
	}))
	return mux, nil
}

// view is what a handler wants shown: a template with its data, or another address to go to.
type view struct {
	template string
	title    string
	data     any
	goTo     string
	status   int
}

// frame is what the layout knows beside the page's own data.
type frame struct {
	Title string
	Coop  string
	Who   identity.Identity
	Data  any
}

// page turns a handler that returns what to show into one that shows it. The page is built
// whole before its first byte is sent, so that an error never leaves half a page.
func (p *Pages) page(handle func(*http.Request) (view, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if _, ok := identity.From(r.Context()); !ok {
			p.write(w, r, view{template: "nobody", title: "No co-op yet", status: http.StatusUnauthorized})
			return
		}
		v, err := handle(r)
		if err != nil {
			p.showError(w, r, err)
			return
		}
		if v.goTo != "" {
			http.Redirect(w, r, v.goTo, http.StatusSeeOther)
			return
		}
		p.write(w, r, v)
	}
}

func (p *Pages) write(w http.ResponseWriter, r *http.Request, v view) {
	who, _ := identity.From(r.Context())
	var built bytes.Buffer
	if err := p.templates[v.template].ExecuteTemplate(&built, "layout", frame{Title: v.title, Who: who, Data: v.data}); err != nil {
		p.log.ErrorContext(r.Context(), "page not built", "template", v.template, "error", err)
		http.Error(w, "This page could not be built. It was noted; please try again.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	if v.status != 0 {
		w.WriteHeader(v.status)
	}
	// The visitor may be gone; there is nobody left to tell.
	_, _ = built.WriteTo(w)
}

// problem is an error as a page shows it.
type problem struct {
	Message string
	Fields  []fault.Field
}

func (p *Pages) showError(w http.ResponseWriter, r *http.Request, err error) {
	var f *fault.Error
	if !errors.As(err, &f) {
		f = fault.FromStatus(err)
	}
	if f.Kind == fault.Internal {
		p.log.ErrorContext(r.Context(), "page failed", "path", r.URL.Path, "error", err)
	}
	p.write(w, r, view{template: "problem", title: "That did not work", data: problem{Message: f.Message, Fields: f.Fields}, status: f.Kind.HTTP()})
}
