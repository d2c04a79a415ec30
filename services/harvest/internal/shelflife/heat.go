package shelflife

import (
	"fmt"
	"math"
)

// Respiration is what mushrooms give off at a temperature, in ml CO₂ per kg and
// hour.
type Respiration struct {
	TenthC    int
	Low, High float64
}

// RespirationTable is that of UC Davis Postharvest, Mushroom: recommendations
// for maintaining postharvest quality (Suslow and Cantwell).
func RespirationTable() []Respiration {
	return []Respiration{{0, 14, 22}, {50, 35, 35}, {100, 50, 50}, {200, 132, 158}}
}

// Heat factors of UC Davis Postharvest: multiply respiration by them. One older
// copy prints the ml factor beside figures in mg; the two differ by the density
// of the gas, about 2 mg per ml.
const (
	BtuPerShortTonDayPerML = 440 // Btu/(short ton·day) per ml CO₂/(kg·h)
	KcalPerTonneDayPerML   = 122 // kcal/(tonne·day)
	BtuPerShortTonDayPerMG = 220 // the same per mg CO₂/(kg·h)
	KcalPerTonneDayPerMG   = 61
)

const joulesPerKcal = 4184

// HeatWatts is the heat that grams of mushrooms give off, in W, at a respiration
// of mg CO₂ per kg and hour.
func HeatWatts(grams int64, mgPerKgHour float64) float64 {
	kcalPerDay := float64(grams) / 1e6 * mgPerKgHour * KcalPerTonneDayPerMG
	return kcalPerDay * joulesPerKcal / (24 * 3600)
}

// StoreHeatWatts is the same from RespirationTable at a store's temperature,
// taking the higher end and running straight between the table's rows.
func StoreHeatWatts(grams int64, tenthC int) float64 {
	rows := RespirationTable()
	ml := rows[len(rows)-1].High
	for i, r := range rows {
		if tenthC > r.TenthC {
			continue
		}
		ml = r.High
		if i > 0 {
			before := rows[i-1]
			part := float64(tenthC-before.TenthC) / float64(r.TenthC-before.TenthC)
			ml = before.High + part*(r.High-before.High)
		}
		break
	}
	return HeatWatts(grams, ml*KcalPerTonneDayPerML/KcalPerTonneDayPerMG)
}

// Q10 is the factor by which a rate grows over 10 °C, from its value at two
// temperatures in °C: (rate2/rate1)^(10/(t2 − t1)).
func Q10(rate1, t1, rate2, t2 float64) float64 {
	return math.Pow(rate2/rate1, 10/(t2-t1))
}

const (
	gasConstant = 8.314 // J/(mol·K)
	zeroCelsius = 273.15
)

// ArrheniusQ10 is the Q10 from t to t + 10 °C of a rate with the given activation
// energy in J/mol: exp(E/R (1/T − 1/(T + 10))).
func ArrheniusQ10(activation, t float64) float64 {
	k := t + zeroCelsius
	return math.Exp(activation / gasConstant * (1/k - 1/(k+10)))
}

// Activation is the activation energy in J/mol that gives a Q10 from t to
// t + 10 °C.
func Activation(q10, t float64) float64 {
	k := t + zeroCelsius
	return math.Log(q10) * gasConstant / (1/k - 1/(k+10))
}

// ConflictError says that an activation energy and a Q10 that are given
// together contradict each other.
type ConflictError struct{ Activation, Q10, Implied, Needed float64 }

func (e *ConflictError) Error() string {
	return fmt.Sprintf("respiration: an activation energy of %.0f J/mol gives a Q10 of %.2f, not %.2f, which needs %.0f J/mol; keep the one that is believed and leave the other out", e.Activation, e.Implied, e.Q10, e.Needed)
}

// CheckPair accepts an activation energy in J/mol and a Q10 from t to t + 10 °C
// that agree to within 5 %, and refuses others with a *ConflictError.
func CheckPair(activation, q10, t float64) error {
	implied := ArrheniusQ10(activation, t)
	if math.Abs(implied/q10-1) > 0.05 {
		return &ConflictError{activation, q10, implied, Activation(q10, t)}
	}
	return nil
}
