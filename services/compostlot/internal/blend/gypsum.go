package blend

// GypsumBand is a published amount of gypsum, in kg per tonne of other dry
// ingredients. The sources disagree; both are shown.
type GypsumBand struct {
	Name      string
	Low, High float64
	Source    string
	Seen      string // how well the source is known
}

// GypsumBands are the two published ones: 70-100 and 40 lb per short ton.
func GypsumBands() []GypsumBand {
	return []GypsumBand{
		{"70-100 lb per ton", 35, 50, "Penn State (D. M. Beyer), Basic Procedures for Agaricus Mushroom Growing", "seen on a copy that names the source"},
		{"40 lb per ton", 20, 20, "older Penn State wording", "seen on a secondary booklet"},
	}
}

// Standing is where an amount lies against a band.
type Standing string

const (
	Below  Standing = "below"
	Within Standing = "within"
	Above  Standing = "above"
)

// Judge says where an amount of gypsum lies, within half a kilogram a tonne:
// gypsum is tipped by the bucket. It is advice, not a fault of the recipe.
func (b GypsumBand) Judge(kgPerTonne float64) Standing {
	const bucket = 0.5
	switch {
	case kgPerTonne < b.Low-bucket:
		return Below
	case kgPerTonne > b.High+bucket:
		return Above
	default:
		return Within
	}
}
