package fidelity

import (
	"math"
	"testing"

	"tachbench/samples/tone"
)

// A frozen loop with hiss far below it is still a frozen loop, although the
// hiss that alone differs from cycle to cycle never repeats.
func TestFrozenLoopUnderHiss(t *testing.T) {
	src, _ := halves(t, 3500, 4, 3)
	s, err := FrozenLoop(src, Hold(3500), 4)
	if err != nil {
		t.Fatal(err)
	}
	hiss := tone.White(48000, 1, 4, 1e-5, 1).Chans[0]
	for i := range s.Chans[0] {
		s.Chans[0][i] += hiss[i]
	}
	loop := FromRender(s, Hold(3500), sled)
	for _, residual := range []float64{math.NaN(), Repetition(src, math.NaN()).ResidualDB} {
		if r := Repetition(loop, residual); r.Max != 1 {
			t.Errorf("source residual %.1f dB: %+v", residual, r)
		}
	}
}

// The area under a rounded-exponential filter of peak 1 is 4·fc/p, which is
// the ERB by the choice of p (Glasberg & Moore 1990).
func TestAuditoryFilterWidth(t *testing.T) {
	for _, fc := range []float64{200, 1000, 4000} {
		var area float64
		for _, w := range roexFilters([]float64{fc}, 1, 24000)[0].w {
			area += w
		}
		near(t, "area over ERB", area/ERB(fc), 1, 0.005)
	}
}

// On a four-stroke the half orders are the odd cycle harmonics.
func TestHalfOrdersOfAFourStroke(t *testing.T) {
	note := func(half float64) *Take {
		tk := FromRender(mono(make([]float64, 4*48000)), Hold(3000), four)
		for i, p := range tk.Phase {
			tk.X[i] = 0.3*math.Sin(2*math.Pi*4*p) + 0.1*math.Sin(2*math.Pi*2*p) + half*math.Sin(2*math.Pi*3*p)
		}
		return tk
	}
	r := HalfOrders(note(0.06), note(0.03))
	near(t, "worst", r.WorstDB, 20*math.Log10(2), 0.01)
	if len(r.Orders) != 1 || r.Orders[0].Order != 1.5 || r.DominantOrder != 2 {
		t.Errorf("want order 1.5 under order 2, got %+v", r)
	}
	near(t, "its level", r.Orders[0].Source, 20*math.Log10(0.1), 0.01)
}

// A source that rises from 0 to 1 jumps by 1 where it starts again; faded
// over 50 ms it may fall by 1/2400 a frame, and no more.
func TestPlainResampleFadesWhereItStartsAgain(t *testing.T) {
	src := FromRender(mono(make([]float64, 48000)), Hold(3000), sled)
	for i := range src.X {
		src.X[i] = float64(i) / 48000
	}
	s, err := PlainResample([]*Take{src}, Hold(3000), 3)
	if err != nil {
		t.Fatal(err)
	}
	x := s.Chans[0][100:]
	var fall, low float64
	low = 1
	for i := 1; i < len(x); i++ {
		fall = math.Max(fall, x[i-1]-x[i])
		low = math.Min(low, x[i])
	}
	below(t, "fall a frame", fall, 1.1/2400)
	if fall == 0 {
		t.Error("the source never started again")
	}
}
