package main

type point struct{ X, Y int } // unit: 100 m

func dist(a, b point) int { // 100 m
	dx, dy := a.X-b.X, a.Y-b.Y
	return isqrt(dx*dx + dy*dy)
}

type sku struct {
	Species string `json:"species"`
	Grade   string `json:"grade"`
	Price   int    `json:"price"`    // mills per pack
	AgeCost int    `json:"age_cost"` // mills per pack and day of age
	weight  int
	species int
}

type farm struct {
	Coop int   `json:"coop"`
	At   point `json:"at"`
}

type restaurant struct {
	Coop int   `json:"coop"`
	At   point `json:"at"`
}

type lot struct {
	Farm       int `json:"farm"`
	SKU        int `json:"sku"`
	AgeDays    int `json:"age_days"`
	Packs      int `json:"packs"`
	UnsoldCost int `json:"unsold_cost"` // mills per pack left
}

type line struct {
	Restaurant int `json:"restaurant"`
	SKU        int `json:"sku"`
	Packs      int `json:"packs"`
	Priority   int `json:"priority"` // 1 low .. 5 high
	Subst      int `json:"subst"`    // 0 none, 1 other grade, 2 also related species
	MaxAge     int `json:"max_age_days"`
	UnmetCost  int `json:"unmet_cost"` // mills per pack short
}

type coopArcs struct {
	Lot  []int32 `json:"lot"` // 0-based indices
	Line []int32 `json:"line"`
	Cost []int32 `json:"cost"` // mills per pack; capacity is min(lot.packs, line.packs)
}

type coopJSON struct {
	Format      string       `json:"format"`
	Name        string       `json:"name"`
	Seed        uint64       `json:"seed"`
	PackKG      int          `json:"pack_kg"`
	CostUnit    string       `json:"cost_unit"`
	Relation    [][2]int     `json:"related_species"`
	SKUs        []sku        `json:"skus"`
	Hubs        []point      `json:"hubs"` // one per coop
	Farms       []farm       `json:"farms"`
	Restaurants []restaurant `json:"restaurants"`
	Lots        []lot        `json:"lots"`
	Lines       []line       `json:"lines"`
	Arcs        coopArcs     `json:"arcs"`
}

type coopSize struct {
	name                                                  string
	lots, lines, coops, farms, restaurants, species, seed int
}

var coopSizes = []coopSize{
	{"tiny", 12, 40, 1, 5, 10, 3, 20260901},
	{"small", 100, 500, 1, 25, 60, 6, 20260902},
	{"medium", 1000, 10000, 5, 250, 1200, 10, 20260903},
	{"large", 5000, 100000, 25, 1250, 12000, 10, 20260904},
}

var speciesTable = []struct {
	name          string
	weight, price int
	age           int
}{
	{"grey-oyster", 30, 24000, 900},
	{"shiitake", 22, 33000, 400},
	{"lions-mane", 9, 54000, 1500},
	{"king-oyster", 14, 36000, 300},
	{"pink-oyster", 6, 30000, 2200},
	{"enoki", 7, 27000, 500},
	{"shimeji", 8, 29000, 450},
	{"maitake", 6, 60000, 800},
	{"yellow-oyster", 5, 31000, 2000},
	{"nameko", 4, 48000, 1100},
}

// related species pairs (indices into speciesTable) and the dislike of the swap in mills per pack
var related = [][2]int{{0, 4}, {0, 8}, {4, 8}, {0, 3}, {1, 6}, {5, 6}, {1, 9}, {2, 7}}
