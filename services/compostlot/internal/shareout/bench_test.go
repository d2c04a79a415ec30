package shareout

import (
	"testing"
	"time"
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

// A large round with smallest amounts is answered within its bound, and in a
// time that a page can wait for; the limit is generous for a busy machine.
func TestLargeRoundWithSmallestAmounts(t *testing.T) {
	t.Parallel()
	in := bigRound(500, 60, 40, true)
	begun := time.Now()
	out, err := ShareOut(in)
	if err != nil {
		t.Fatal(err)
	}
	if took := time.Since(begun); took > 30*time.Second {
		t.Errorf("took %v", took)
	}
	if out.GrantedKg > out.Bound.MostKg || 100*out.GrantedKg < 90*out.Bound.MostKg {
		t.Errorf("granted %d kg of at most %d kg, less than nine tenths", out.GrantedKg, out.Bound.MostKg)
	}
	for _, a := range out.Answers {
		if a.GrantedKg > 0 && 2*a.GrantedKg < a.AskedKg-1 {
			t.Errorf("%s got %d kg of %d kg, under the half it can use", a.RequestID, a.GrantedKg, a.AskedKg)
		}
	}
}
