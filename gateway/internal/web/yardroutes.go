package web

import "net/http"

// yardRoutes are the pages of the compost yards beside slots and lots.
func (p *Pages) yardRoutes(mux *http.ServeMux) {
	for path, show := range map[string]func(*visit, *form) (view, error){"/recipes": p.showRecipes} {
		mux.HandleFunc("GET "+path, p.page(func(v *visit) (view, error) { return show(v, newForm()) }))
	}
	for path, handle := range map[string]func(*visit) (view, error){
		"/recipes": p.planRecipe,
	} {
		mux.HandleFunc("POST "+path, p.page(handle))
	}
}
