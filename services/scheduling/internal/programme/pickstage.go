package programme

// PickStage is the stage of opening at which a mushroom is picked, in the terms
// of UNECE standard FFV-24 (cultivated mushrooms), which the suite's products use
// too.
type PickStage string

// The stages of picking.
const (
	// NoPickStage stands for a species without such stages, e.g. oyster mushroom.
	NoPickStage PickStage = ""
	Closed      PickStage = "closed" // cap closed, veil whole
	Veiled      PickStage = "veiled" // cap still joined to the stem by the veil
	Open        PickStage = "open"   // cap open, edge turned in
	Flat        PickStage = "flat"   // cap open and flat
)

// PickStages lists the stages from closed to flat.
func PickStages() []PickStage { return []PickStage{Closed, Veiled, Open, Flat} }
