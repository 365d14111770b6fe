package resample

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/floats"
)

func TestDotAgainstGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for n := 0; n <= 256; n += 8 {
		a, b := make([]float64, n), make([]float64, n+3)
		for i := range a {
			a[i] = rng.NormFloat64()
		}
		for i := range b {
			b[i] = rng.NormFloat64()
		}
		got, want := dot(a, b), floats.Dot(a, b[:n])
		if math.Abs(got-want) > 1e-12 {
			t.Errorf("%d terms: %v, gonum says %v", n, got, want)
		}
	}
}

// BenchmarkDot shows the loop beside a plain one; 168 is the length of the
// default filter from 44.1 to 48 kHz.
func BenchmarkDot(b *testing.B) {
	x, y := make([]float64, 168), make([]float64, 168)
	for i := range x {
		x[i], y[i] = float64(i), 1/float64(i+1)
	}
	var s float64
	b.Run("four sums", func(b *testing.B) {
		for b.Loop() {
			s += dot(x, y)
		}
	})
	b.Run("plain", func(b *testing.B) {
		for b.Loop() {
			var sum float64
			for i := range x {
				sum += x[i] * y[i]
			}
			s += sum
		}
	})
	_ = s
}
