package server

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
)

// wishes are what a customer wishes beside packs, as they are stored.
type wishes struct {
	Zone        string       `json:"zone,omitempty"`
	Weight      int64        `json:"weight,omitempty"`
	Substitutes []substitute `json:"substitutes,omitempty"`
	Grades      *gradeSteps  `json:"grades,omitempty"`
	NotFrom     []string     `json:"not_from,omitempty"`
	OnlyFrom    string       `json:"only_from,omitempty"`
	OneFarm     bool         `json:"one_farm,omitempty"`
}

type substitute struct {
	Product    string `json:"product"`
	Instead    string `json:"instead"`
	Reluctance int64  `json:"reluctance,omitempty"`
}

type gradeSteps struct {
	Poorer     int   `json:"poorer,omitempty"`
	Better     int   `json:"better,omitempty"`
	Reluctance int64 `json:"reluctance,omitempty"`
}

// wishesIn reads the wishes of a customer and refuses those that make no sense. products are
// those that are known.
func wishesIn(c *orderv1.Customer, path string, products map[string]store.Product) (string, error) {
	w := wishes{Zone: c.GetZoneId(), Weight: int64(c.GetShareWeight()), OnlyFrom: c.GetOnlyFarmId(), OneFarm: c.GetOneFarm()}
	w.NotFrom = slices.Sorted(slices.Values(c.GetExcludedFarmIds()))
	if w.OnlyFrom != "" && slices.Contains(w.NotFrom, w.OnlyFrom) {
		return "", fault.InvalidField(path+".only_farm_id", "farm %q is excluded too: take it out of one of the two", w.OnlyFrom)
	}
	if g := c.GetGradeSteps(); g != nil {
		w.Grades = &gradeSteps{Poorer: int(g.GetPoorer()), Better: int(g.GetBetter()), Reluctance: g.GetReluctanceMinorPerStep()}
	}
	seen := make(map[[2]string]int)
	for i, s := range c.GetSubstitutes() {
		at := fmt.Sprintf("%s.substitutes[%d].instead_product_id", path, i)
		pair := [2]string{s.GetProductId(), s.GetInsteadProductId()}
		first, twice := seen[pair]
		switch {
		case pair[0] == pair[1]:
			return "", fault.InvalidField(at, "product %q cannot stand in for itself", pair[1])
		case twice:
			return "", fault.InvalidField(at, "%q stands in for %q in element %d already: give each pair once", pair[1], pair[0], first)
		}
		for _, product := range pair {
			if _, known := products[product]; !known {
				return "", fault.InvalidField(at, "there is no product %q: save it first", product)
			}
		}
		seen[pair] = i
		w.Substitutes = append(w.Substitutes, substitute{pair[0], pair[1], s.GetReluctanceMinor()})
	}
	slices.SortFunc(w.Substitutes, func(a, b substitute) int { return strings.Compare(a.Product+" "+a.Instead, b.Product+" "+b.Instead) })
	text, err := json.Marshal(w)
	if err != nil {
		return "", fmt.Errorf("write wishes: %w", err)
	}
	return string(text), nil
}

// wishesOf reads stored wishes.
func wishesOf(c store.Customer) (wishes, error) {
	var w wishes
	if err := json.Unmarshal([]byte(c.Wishes), &w); err != nil {
		return w, fmt.Errorf("read the wishes of customer %s: %w", c.ID, err)
	}
	return w, nil
}

// wishesOut puts stored wishes into a message.
func wishesOut(c store.Customer, out *orderv1.Customer) (*orderv1.Customer, error) {
	w, err := wishesOf(c)
	out.ZoneId, out.ShareWeight, out.ExcludedFarmIds = w.Zone, int32(w.Weight), w.NotFrom
	out.OnlyFarmId, out.OneFarm = w.OnlyFrom, w.OneFarm
	if g := w.Grades; g != nil {
		out.GradeSteps = &orderv1.GradeSteps{Poorer: int32(g.Poorer), Better: int32(g.Better), ReluctanceMinorPerStep: g.Reluctance}
	}
	for _, s := range w.Substitutes {
		out.Substitutes = append(out.Substitutes, &orderv1.Substitute{ProductId: s.Product, InsteadProductId: s.Instead, ReluctanceMinor: s.Reluctance})
	}
	return out, err
}

// productsNamed are the products that the wishes of customers name.
func productsNamed(given []*orderv1.Customer) []string {
	var all []string
	for _, c := range given {
		for _, s := range c.GetSubstitutes() {
			all = append(all, s.GetProductId(), s.GetInsteadProductId())
		}
	}
	return all
}
