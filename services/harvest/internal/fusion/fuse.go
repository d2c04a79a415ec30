package fusion

import "math"

// Input is what is known of one room, product and day.
type Input struct {
	Push         *Band   // what the grower said; absent when nothing was pushed
	Forecast     Band    // what the model says
	Grower       Habit   // of the grower, from Learn
	Model        Habit   // of the forecast, from Learn
	Own          Habit   // of Output.Combined, from Learn; its zero value corrects nothing
	Correlation  float64 // of the errors of grower and forecast, from Correlation
	FloorGrams   int64   // c of the package comment
	CeilingGrams int64   // the most the room can bear in a day; 0 when unknown
}

// Output shows all figures side by side.
type Output struct {
	Push         *Band // as said
	PushFixed    *Band // corrected for the grower's habit
	Forecast     Band  // as the model says
	Combined     Band  // the two combined, before the last correction: what Own is learned from
	Use          Band  // the figure in use
	PushPerMille int   // weight of the push in the figure in use
}

// DefaultCorrelation is how far the errors of growers and forecast go together
// when a co-op has no record of it: both miss the same odd days.
const DefaultCorrelation = 0.3

// Fuse combines what is there. Without a push the forecast stands in, as it
// is. It refuses with a *BandError or *FloorError.
func Fuse(in Input) (Output, error) {
	if in.FloorGrams < 1 {
		return Output{}, &FloorError{in.FloorGrams}
	}
	if err := in.Forecast.check("forecast"); err != nil {
		return Output{}, err
	}
	out := Output{Push: in.Push, Forecast: in.Forecast}
	model := in.Model.fix(in.Forecast, in.FloorGrams)
	if in.Push == nil {
		out.Combined, out.Use = in.Forecast, in.Forecast
		return out, nil
	}
	if err := in.Push.check("push"); err != nil {
		return Output{}, err
	}
	push := in.Grower.fix(*in.Push, in.FloorGrams)
	fixed := capped(push.band(in.FloorGrams), in.CeilingGrams)
	out.PushFixed = &fixed
	rho := min(0.8, max(0, in.Correlation))
	mean, sd, w := Combine(push.mean, push.sd, model.mean, model.sd, rho)
	out.Combined = capped(normal{mean, sd}.band(in.FloorGrams), in.CeilingGrams)
	out.Use = out.Combined
	if in.Own != (Habit{}) {
		out.Use = capped(in.Own.fix(out.Combined, in.FloorGrams).band(in.FloorGrams), in.CeilingGrams)
	}
	out.PushPerMille = int(1000*w + 0.5)
	return out, nil
}

// fix corrects what a source says by its habit. The zero habit corrects
// nothing.
func (h Habit) fix(b Band, floor int64) normal {
	n := b.normal(floor)
	if h == (Habit{}) {
		return n
	}
	return normal{n.mean + h.Bias, max(minSpread, h.Spread*n.sd)}
}

func capped(b Band, ceiling int64) Band {
	if ceiling <= 0 {
		return b
	}
	return Band{min(b.Low, ceiling), min(b.Likely, ceiling), min(b.High, ceiling)}
}

// Pair is the error of grower and forecast on the same day, as Errors gives it.
type Pair struct{ Grower, Forecast float64 }

// Errors returns what the two sources missed by on a day, in units of the
// spread their habits claim.
func Errors(said, model Band, actual int64, grower, forecast Habit, floor int64) Pair {
	unit := func(b Band, h Habit) float64 {
		n := h.fix(b, floor)
		return (math.Log(float64(actual+floor)) - n.mean) / n.sd
	}
	return Pair{unit(said, grower), unit(model, forecast)}
}

// Correlation is the correlation of the pairs' errors, drawn towards
// DefaultCorrelation by the weight of 40 days and held within 0 to 0.8.
func Correlation(pairs []Pair) float64 {
	const priorDays = 40
	cross, g2, f2 := priorDays*DefaultCorrelation, float64(priorDays), float64(priorDays)
	for _, p := range pairs {
		g, f := cut(p.Grower), cut(p.Forecast)
		cross += g * f
		g2 += g * g
		f2 += f * f
	}
	return min(0.8, max(0, cross/math.Sqrt(g2*f2)))
}

// cut keeps one odd day from deciding.
func cut(units float64) float64 { return min(oddDay, max(-oddDay, units)) }
