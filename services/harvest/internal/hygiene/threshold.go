package hygiene

import (
	"fmt"
	"math/big"
)

// Pest names a pest or disease that rooms are watched for.
type Pest struct {
	Name   string
	Signs  string
	Source string
	Rule   *Threshold // absent where no threshold is published
}

// Threshold is a count in a sample of casing or compost and the loss that goes
// with it.
type Threshold struct {
	Larvae        int // mean count …
	SampleGrams   int // … per this many grams of …
	Of            string
	LossPerMille  int  // of the crop's value, at that count; in proportion for other counts
	ActAboveCount bool // whether the source gives it as an economic threshold, or only as a loss
}

const afbi = "Agri-Food and Biosciences Institute (Northern Ireland), Insect pests of mushrooms"

// Pests returns what rooms are watched for, worst for the order of visiting
// first.
func Pests() []Pest {
	return []Pest{
		{"sciarid fly", "white larvae with black heads in casing and stems; tunnels; pins eaten", afbi + ": Sciaridae", &Threshold{1, 125, "casing", 5, true}},
		{"phorid fly", "hump-backed flies that run in jerks; larvae in the compost eat mycelium", afbi + ": Phoridae", &Threshold{50, 125, "compost", 5, false}},
		{"dry bubble", "brown spots, split stems, grey puffy lumps with few amber drops", "Penn State, Verticillium dry bubble", nil},
		{"wet bubble", "shapeless velvety lumps with many amber drops", "Infonet-Biovision", nil},
		{"cobweb", "a web growing over caps", "common practice, no source", nil},
		{"green mould", "white growth turning dark green", "common practice, no source", nil},
		{"bacterial blotch", "yellow to brown wet spots on caps", "common practice, no source", nil},
		{"red pepper mites", "reddish dust on casing and caps; a companion of green mould", "common practice, no source", nil},
	}
}

// SciaridCycleDays is the time from egg to fly at 18.3 °C (65 °F): egg 6, larva
// 18, pupa 6 days (Penn State Extension, Sciarid fly in commercial mushroom
// production).
const SciaridCycleDays = 6 + 18 + 6

// Count is what was found in the samples of one room.
type Count struct{ Larvae, SampleGrams int }

// Stakes is the money at stake, in minor units of one currency.
type Stakes struct{ CropValue, ControlCost int64 }

// Finding is what a count comes to.
type Finding struct {
	LossPerMille float64 // of the crop's value that is expected to be lost
	ExpectedLoss int64   // minor units, rounded half up
	Verdict      Verdict
}

// Verdict compares the expected loss with the cost of control.
type Verdict uint8

// The verdicts on a count.
const (
	Wait        Verdict = iota + 1 // the loss is below the cost of control
	AtThreshold                    // they are equal
	Act                            // the loss exceeds the cost of control
)

// String says the verdict in words.
func (v Verdict) String() string {
	switch v {
	case Wait:
		return "wait and count again"
	case AtThreshold:
		return "at the threshold"
	case Act:
		return "control pays"
	}
	return "unknown"
}

// CountError refuses a count or stakes that cannot be.
type CountError struct{ Why string }

func (e *CountError) Error() string { return fmt.Sprintf("pest count: %s", e.Why) }

// maxCount bounds what one sample can hold.
const maxCount = 1_000_000

// Judge weighs counts against the threshold. Loss is taken to grow in proportion
// to the count, which is an assumption: the source gives one point. All
// comparisons are exact. It refuses with a *CountError.
func (t Threshold) Judge(counts []Count, s Stakes) (Finding, error) {
	if s.CropValue <= 0 || s.ControlCost < 0 {
		return Finding{}, &CountError{"give the crop's value above 0 and the cost of control from 0, in minor units"}
	}
	var larvae, grams int64
	for _, c := range counts {
		if c.Larvae < 0 || c.Larvae > maxCount || c.SampleGrams <= 0 || c.SampleGrams > maxCount {
			return Finding{}, &CountError{"each sample has 0 to 1,000,000 larvae in 1 to 1,000,000 grams"}
		}
		larvae += int64(c.Larvae)
		grams += int64(c.SampleGrams)
	}
	if grams == 0 {
		return Finding{}, &CountError{"give at least one sample"}
	}
	// loss per mille = LossPerMille × (larvae/grams) / (Larvae/SampleGrams)
	perMille := new(big.Rat).Mul(big.NewRat(larvae, grams), big.NewRat(int64(t.SampleGrams*t.LossPerMille), int64(t.Larvae)))
	if thousand := big.NewRat(1000, 1); perMille.Cmp(thousand) > 0 {
		perMille = thousand
	}
	loss := new(big.Rat).Mul(perMille, big.NewRat(s.CropValue, 1000))
	var f Finding
	f.LossPerMille, _ = perMille.Float64()
	f.ExpectedLoss = round(loss)
	switch loss.Cmp(big.NewRat(s.ControlCost, 1)) {
	case -1:
		f.Verdict = Wait
	case 0:
		f.Verdict = AtThreshold
	default:
		f.Verdict = Act
	}
	return f, nil
}

// round rounds a value of 0 or more half up.
func round(r *big.Rat) int64 {
	doubled := new(big.Int).Mul(r.Num(), big.NewInt(2))
	doubled.Add(doubled, r.Denom())
	return doubled.Quo(doubled, new(big.Int).Mul(r.Denom(), big.NewInt(2))).Int64()
}
