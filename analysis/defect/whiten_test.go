package defect

import (
	"math"
	"math/rand/v2"
	"testing"
)

// An autoregressive process is its own known answer: the predictor must come
// out as the recursion that made the process, the residual as its input.
func TestWhitenerFindsTheRecursion(t *testing.T) {
	const a1, a2 = -1.6, 0.81
	w := newWhitener(48000)
	rng := rand.New(rand.NewPCG(1, 2))
	x, in := make([]float64, 2*w.half), make([]float64, 2*w.half)
	for i := range x {
		in[i] = rng.NormFloat64()
		x[i] = in[i]
		if i > 1 {
			x[i] -= a1*x[i-1] + a2*x[i-2]
		}
	}
	e := w.residual(x)
	if math.Abs(w.a[1]-a1) > 0.1 || math.Abs(w.a[2]-a2) > 0.1 {
		t.Errorf("predictor %.3f %.3f, want %.2f %.2f", w.a[1], w.a[2], a1, a2)
	}
	var diff, power float64
	for i := whitenOrder; i < len(x); i++ {
		diff += (e[i] - in[i]) * (e[i] - in[i])
		power += in[i] * in[i]
	}
	if db := 10 * math.Log10(diff/power); db > -12 {
		t.Errorf("residual differs from the input by %.1f dB", db)
	}
	if w.residual(make([]float64, 2*w.half)) != nil {
		t.Error("silence has a residual")
	}
}

func TestWhitenerAllocatesNothing(t *testing.T) {
	w := newWhitener(48000)
	x := make([]float64, 2*w.half)
	for i := range x {
		x[i] = math.Sin(float64(i) / 7)
	}
	if n := testing.AllocsPerRun(5, func() { w.residual(x) }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func BenchmarkWhitener(b *testing.B) {
	w := newWhitener(48000)
	x := make([]float64, 2*w.half)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	b.ReportAllocs()
	for b.Loop() {
		w.residual(x)
	}
}

// BenchmarkMeasure is the hot loop alone, one channel at 48 kHz.
func BenchmarkMeasure(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, 50)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	var t tick
	b.ReportAllocs()
	for b.Loop() {
		measure(x, &t)
	}
	b.ReportMetric(0.001*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}

// measureSlowly is written from the definitions in tick.
func measureSlowly(x []float64) tick {
	t := tick{hi: math.Inf(-1), lo: math.Inf(1)}
	for i := 2; i < len(x); i++ {
		t.sum += x[i]
		t.sq += x[i] * x[i]
		t.hi, t.lo = max(t.hi, x[i]), min(t.lo, x[i])
		t.d1Max = max(t.d1Max, math.Abs(x[i]-x[i-1]))
		d2 := math.Abs(x[i] - x[i-1] - (x[i-1] - x[i-2]))
		t.d2Max = max(t.d2Max, d2)
		t.d2Sum += d2
		if x[i] == x[i-1] {
			t.equal++
		}
		t.n++
	}
	return t
}

func TestMeasureAgreesWithItsDefinition(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 2))
	for n := 3; n < 60; n++ {
		x := make([]float64, n)
		for i := range x {
			x[i] = float64(rng.IntN(9)-4) / 4
		}
		var got tick
		measure(x, &got)
		if want := measureSlowly(x); got != want {
			t.Errorf("%d samples: %+v, want %+v", n, got, want)
		}
	}
}
