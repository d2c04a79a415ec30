package release

import (
	"fmt"
	"strings"
)

// Quantity is what a probe measures. Values are integers in thousandths of
// the unit named.
type Quantity uint8

const (
	CompostTemperature Quantity = iota + 1 // m°C: 60 °C is 60000
	AirTemperature                         // m°C
	Ammonia                                // thousandths of a ppm by volume in air: 10 ppm is 10000
	Oxygen                                 // thousandths of a % by volume in air
	Moisture                               // thousandths of a % of wet mass
	Acidity                                // thousandths of a pH unit
	Nitrogen                               // thousandths of a % of dry matter
	CarbonDioxide                          // thousandths of a ppm by volume in air
	HydrogenSulphide                       // thousandths of a ppm by volume in air
)

var quantities = map[Quantity]struct{ name, unit string }{
	CompostTemperature: {"compost temperature", " °C"},
	AirTemperature:     {"air temperature", " °C"},
	Ammonia:            {"ammonia", " ppm"},
	Oxygen:             {"oxygen", " %"},
	Moisture:           {"moisture", " %"},
	Acidity:            {"pH", ""},
	Nitrogen:           {"nitrogen of dry matter", " %"},
	CarbonDioxide:      {"carbon dioxide", " ppm"},
	HydrogenSulphide:   {"hydrogen sulphide", " ppm"},
}

func (q Quantity) String() string {
	if n, ok := quantities[q]; ok {
		return n.name
	}
	return fmt.Sprintf("quantity %d", q)
}

// Format writes a value in its unit, with no more decimals than it has:
// 60500 m°C is "60.5 °C".
func (q Quantity) Format(milli int64) string {
	sign := ""
	if milli < 0 {
		sign, milli = "-", -milli
	}
	text := fmt.Sprintf("%s%d.%03d", sign, milli/1000, milli%1000)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".") + quantities[q].unit
}

// Mark is a moment in a lot's phase II that somebody has noted.
type Mark uint8

const (
	Filled           Mark = iota + 1 // the tunnel or room is filled
	PasteurisedFrom                  // heating up to pasteurise began
	ConditioningFrom                 // pasteurising over, conditioning began
	CoolingFrom                      // conditioning over, cooling began
	Cooled                           // cool enough to spawn
)

var markNames = map[Mark]string{
	Filled: "filling", PasteurisedFrom: "start of pasteurising", ConditioningFrom: "start of conditioning",
	CoolingFrom: "start of cooling", Cooled: "end of cooling",
}

func (m Mark) String() string { return markNames[m] }
