package loudness

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The two-channel kernel is the one-channel kernel twice.
func TestTwoEqualsOneTwice(t *testing.T) {
	w := newWeighting(44100)
	r := rand.New(rand.NewPCG(1, 2))
	a, b := make([]float64, 997), make([]float64, 997)
	for i := range a {
		a[i], b[i] = r.NormFloat64(), r.NormFloat64()
	}
	var sa, sb, pa, pb state
	w.two(&sa, &sb, a, b)
	w.one(&pa, a)
	w.one(&pb, b)
	for i, d := range []float64{sa.energy - pa.energy, sb.energy - pb.energy, sa.t1 - pa.t1, sb.s2 - pb.s2} {
		if math.Abs(d) > 1e-9 {
			t.Errorf("difference %d: %g", i, d)
		}
	}
}

func BenchmarkKernelStereo48k(b *testing.B) {
	w := newWeighting(48000)
	r := rand.New(rand.NewPCG(1, 2))
	x, y := make([]float64, 480), make([]float64, 480)
	for i := range x {
		x[i], y[i] = r.Float64()-0.5, r.Float64()-0.5
	}
	var sx, sy state
	b.ReportAllocs()
	for b.Loop() {
		w.two(&sx, &sy, x, y)
		sx.settle()
		sy.settle()
	}
	b.ReportMetric(float64(b.N)*0.01/b.Elapsed().Seconds(), "x-realtime")
}
