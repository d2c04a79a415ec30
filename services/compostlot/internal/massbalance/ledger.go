package massbalance

import "fmt"

// Draw is mass that leaves a lot.
type Draw struct {
	ID    string
	Grams int64 // more than 0
}

// OverdrawnError says that a lot has not the mass that a draw asks.
type OverdrawnError struct {
	DrawID                string
	AskedGrams, LeftGrams int64
}

func (e *OverdrawnError) Error() string {
	return fmt.Sprintf("delivery %s asks %d g, the lot has %d g left: deliver less or take the rest from another lot", e.DrawID, e.AskedGrams, e.LeftGrams)
}

// Remaining is what a lot has left after its draws in turn. It returns an
// *OverdrawnError for the first draw that asks more than is left, and an
// *InvalidError for masses that cannot be.
func Remaining(lotGrams int64, draws []Draw) (int64, error) {
	if lotGrams < 0 {
		return 0, &InvalidError{"lot", fmt.Sprintf("%d g must be 0 or more", lotGrams)}
	}
	left := lotGrams
	for _, d := range draws {
		if d.Grams <= 0 {
			return 0, &InvalidError{"delivery " + d.ID, fmt.Sprintf("%d g must be more than 0", d.Grams)}
		}
		if d.Grams > left {
			return 0, &OverdrawnError{DrawID: d.ID, AskedGrams: d.Grams, LeftGrams: left}
		}
		left -= d.Grams
	}
	return left, nil
}
