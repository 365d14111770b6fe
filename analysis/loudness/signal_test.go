package loudness

import (
	"math"
	"testing"
)

// piece is a stretch of sine, in phase in every channel it is given to, that
// starts at phase 0 as in the check values of the levels reference.
type piece struct {
	lengthS, peakDBFS float64 // math.Inf(-1) = silence
}

func silence(s float64) piece { return piece{s, math.Inf(-1)} }

// pieces joins stretches of one frequency.
func pieces(rateHz int, hz float64, list ...piece) []float64 {
	var x []float64
	for _, p := range list {
		n := int(math.Round(p.lengthS * float64(rateHz)))
		a := math.Pow(10, p.peakDBFS/20)
		w := 2 * math.Pi * hz / float64(rateHz)
		for i := range n {
			if a == 0 {
				x = append(x, 0)
			} else {
				x = append(x, a*math.Sin(w*float64(i)))
			}
		}
	}
	return x
}

func repeat(n int, list ...piece) []piece {
	var out []piece
	for range n {
		out = append(out, list...)
	}
	return out
}

func stereo(x []float64) [][]float64 { return [][]float64{x, x} }

// measure runs a whole sound through a new meter, in one block.
func measure(t testing.TB, rateHz int, mask uint32, block [][]float64) *Meter {
	t.Helper()
	m, err := New(rateHz, len(block), mask)
	if err != nil {
		t.Fatal(err)
	}
	m.Write(block)
	return m
}

func wantNear(t testing.TB, what string, got Reading, want, tolerance float64) {
	t.Helper()
	if !got.OK() || !(math.Abs(got.Value-want) <= tolerance) {
		t.Errorf("%s = %.4f %s, want %.4f ± %g", what, got.Value, got.Absent, want, tolerance)
	}
}

func wantAbsent(t testing.TB, what string, got Reading, reason string) {
	t.Helper()
	if got.Absent != reason || !math.IsNaN(got.Value) {
		t.Errorf("%s = %v %q, want none: %q", what, got.Value, got.Absent, reason)
	}
}
