package web

import "net/http"

// growerRoutes are a grower's pages and files beside rooms, pushes and picks.
func (p *Pages) growerRoutes(mux *http.ServeMux) {
	mux.HandleFunc("GET /climate", p.page(func(v *visit) (view, error) { return p.showClimate(v, newForm()) }))
	mux.HandleFunc("GET /fan", p.page(func(v *visit) (view, error) { return p.showFan(v, newForm()) }))
	mux.HandleFunc("GET /picked", p.page(func(v *visit) (view, error) { return p.showPicked(v, newForm()) }))
	mux.HandleFunc("GET /said", p.page(func(v *visit) (view, error) { return p.showSaid(v, newForm()) }))
	mux.HandleFunc("GET /scored", p.page(func(v *visit) (view, error) { return p.showScored(v, newForm()) }))
	for path, do := range map[string]func(*visit) (view, error){"/cold/store": p.saveStore, "/cold/read": p.readStore, "/cold/discard": p.discard} {
		mux.HandleFunc("POST "+path, p.page(submit(do, p.showCold, afterDot)))
	}
	mux.HandleFunc("POST /climate", p.page(submit(p.uploadClimate, p.showClimate, nil)))
	mux.HandleFunc("POST /push/file", p.page(submit(p.pushFile, p.showPush, nil)))
}
