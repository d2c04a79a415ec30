package web

import "net/http"

// yardRoutes are the pages of the compost yards beside slots and lots.
func (p *Pages) yardRoutes(mux *http.ServeMux) {
	for path, show := range map[string]func(*visit, *form) (view, error){
		"/recipes": p.showRecipes, "/lots/{lot}/work": p.showLotWork, "/openlot": p.showOpenLot, "/refused": p.showRefused, "/releaserules": p.showReleaseRules, "/sharing": p.showSharing, "/compost": p.showCompost,
	} {
		mux.HandleFunc("GET "+path, p.page(func(v *visit) (view, error) { return show(v, newForm()) }))
	}
	for path, handle := range map[string]func(*visit) (view, error){
		"/recipes": p.planRecipe, "/releaserules": p.saveReleaseRules, "/slots/upload": submit(p.publishFile, p.showSlots, nil), "/openlot": submit(p.openLot, p.showOpenLot, afterDot),
		"/lots/{lot}/recipe": submit(p.setLotRecipe, p.showLotWork, nil), "/lots/{lot}/step": submit(p.markStep, p.showLotWork, workField),
		"/lots/{lot}/supplement": submit(p.recordWork, p.showLotWork, workField), "/lots/{lot}/sample": submit(p.recordSample, p.showLotWork, workField),
		"/lots/{lot}/probe": submit(p.saveProbe, p.showLotWork, workField), "/lots/{lot}/readings": submit(p.uploadReadings, p.showLotWork, nil),
		"/compost/crop":     submit(p.askForCrop, p.showCompost, afterDot),
		"/sharing/settings": submit(p.saveShareSettings, p.showSharing, afterDot), "/sharing/haul": submit(p.saveHaul, p.showSharing, nil),
	} {
		mux.HandleFunc("POST "+path, p.page(handle))
	}
}
