package shareout

import (
	"testing"
)

func benchmarkRound(b *testing.B, in Round) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ShareOut(in); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkShareOut500Requests60Slots(b *testing.B) {
	b.Run("500 farms", func(b *testing.B) { benchmarkRound(b, bigRound(500, 60, 500, false)) })
	b.Run("40 farms", func(b *testing.B) { benchmarkRound(b, bigRound(500, 60, 40, false)) })
	b.Run("equal awards", func(b *testing.B) {
		in := bigRound(500, 60, 500, false)
		in.Rule = ByEqualAwards
		benchmarkRound(b, in)
	})
	b.Run("smallest amounts", func(b *testing.B) { benchmarkRound(b, bigRound(500, 60, 40, true)) })
}

// A round too large to search to the end is answered close to its bound.
func TestLargeRoundWithSmallestAmounts(t *testing.T) {
	t.Parallel()
	out, err := ShareOut(bigRound(100, 20, 20, true))
	if err != nil {
		t.Fatal(err)
	}
	if out.Bound.Exact || out.GrantedKg > out.Bound.MostKg || 100*out.GrantedKg < 95*out.Bound.MostKg {
		t.Errorf("granted %d kg of at most %d kg (exact: %v), less than 95 in 100", out.GrantedKg, out.Bound.MostKg, out.Bound.Exact)
	}
	for _, a := range out.Answers {
		if a.GrantedKg > 0 && a.GrantedKg < a.AskedKg/2 {
			t.Errorf("%s got %d kg of %d kg, under the half it can use", a.RequestID, a.GrantedKg, a.AskedKg)
		}
	}
}
