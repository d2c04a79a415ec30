package server

import (
	"fmt"
	"slices"
)

// Currencies whose minor unit is not a hundredth: ISO 4217, list one.
var (
	withoutMinor    = []string{"BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "UYI", "VND", "VUV", "XAF", "XOF", "XPF"}
	withThousandths = []string{"BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"}
)

// moneyIn writes amounts of a currency, given in its minor unit; nil where the code is empty.
func moneyIn(code string) func(minor int64) string {
	unit, digits := int64(100), 2
	switch {
	case code == "":
		return nil
	case slices.Contains(withoutMinor, code):
		return func(minor int64) string { return fmt.Sprintf("%d %s", minor, code) }
	case slices.Contains(withThousandths, code):
		unit, digits = 1000, 3
	}
	return func(minor int64) string { return fmt.Sprintf("%d.%0*d %s", minor/unit, digits, minor%unit, code) }
}
