package fidelity

import (
	"math"
	"testing"

	"tachbench/samples/crank"
)

// request builds a Take that claims claimed while the sound turns at real.
func request(t testing.TB, l crank.Layout, real, claimed Revs, seconds float64) *Take {
	t.Helper()
	r := engine(l, real, seconds, 7)
	return FromRender(r.Sound, claimed, l)
}

func TestOrderErrorOfATrueNote(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a second goroutine")
	}
	for name, l := range layouts {
		for _, rpm := range []float64{1500, 3500, 8000} {
			r := OrderError(request(t, l, Hold(rpm), Hold(rpm), 3))
			t.Logf("%s %.0f: median %.2f p95 %.2f cents, mean %.3f, drift %.4f cycles", name, rpm, r.MedianCents, r.P95Cents, r.MeanCents, r.MaxDriftCycles)
			// The pulses jitter by 0.7° and 6 % from cycle to cycle, so a
			// true engine is not at zero; what the targets allow is.
			below(t, name+" median", r.MedianCents, 3)
			below(t, name+" p95", r.P95Cents, 9)
			below(t, name+" drift", r.MaxDriftCycles, 0.05)
		}
		r := OrderError(request(t, l, Sweep(1500, 8000, 8), Sweep(1500, 8000, 8), 8))
		t.Logf("%s sweep: median %.2f p95 %.2f cents, drift %.4f cycles", name, r.MedianCents, r.P95Cents, r.MaxDriftCycles)
		below(t, name+" sweep p95", r.P95Cents, 17)
		below(t, name+" sweep drift", r.MaxDriftCycles, 0.5)
	}
}

// A 1 % sharp note is 17.226 cents out (check value 18) and must fail.
func TestOrderErrorOfADetunedNote(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a second goroutine")
	}
	for name, l := range layouts {
		for _, pct := range []float64{1, -1, 3} {
			f := 1 + pct/100
			hold := OrderError(request(t, l, Hold(3000*f), Hold(3000), 3))
			near(t, name+" mean", hold.MeanCents, Cents(f), 0.35)
			near(t, name+" drift", hold.MaxDriftCycles, math.Abs(pct)/100*l.CycleHz(3000)*(hold.TimeS[len(hold.TimeS)-1]-hold.TimeS[0]), 0.03)
			if hold.MedianCents <= 9 {
				t.Errorf("%s: %.0f %% detune passes with %.2f cents", name, pct, hold.MedianCents)
			}
		}
		if name != "sled" && name != "vtwin" {
			continue // two kinds of layout are enough for the long sweep
		}
		sharp := func(s float64) float64 { return 1.01 * Sweep(1500, 8000, 8)(s) }
		sweep := OrderError(request(t, l, sharp, Sweep(1500, 8000, 8), 8))
		// An engine's resonances delay its orders, which a rising sweep shows
		// as a flat note: 1.4 cents here. The detune is what comes on top.
		truth := OrderError(request(t, l, Sweep(1500, 8000, 8), Sweep(1500, 8000, 8), 8))
		near(t, name+" sweep mean", sweep.MeanCents-truth.MeanCents, 17.226, 0.35)
	}
}

// A pure vibrato of ±10 cents at 2 Hz has a median |cents| of 10/√2 and a
// 95th percentile of 10·sin(0.95·π/2) = 9.969.
func TestOrderErrorOfVibrato(t *testing.T) {
	real := func(s float64) float64 { return 4000 * math.Exp2(10*math.Sin(2*math.Pi*2*s)/1200) }
	r := pureTone(real, 4)
	got := OrderError(FromRender(mono(r), Hold(4000), sled))
	near(t, "median", got.MedianCents, 10/math.Sqrt2, 0.2)
	near(t, "p95", got.P95Cents, 9.969, 0.35) // the 75 ms fit flattens 2 Hz by 2 %
	near(t, "mean", got.MeanCents, 0, 0.1)
}

// pureTone is the sled's firing order and its double without any noise.
func pureTone(revs Revs, seconds float64) []float64 {
	tk := FromRender(mono(make([]float64, int(48000*seconds))), revs, sled)
	x := make([]float64, len(tk.X))
	for i, p := range tk.Phase {
		x[i] = 0.3*math.Sin(2*math.Pi*2*p) + 0.1*math.Sin(2*math.Pi*4*p+1)
	}
	return x
}

func TestOrderErrorIsExactOnPureOrders(t *testing.T) {
	for _, cents := range []float64{0, 0.5, 3, 17.226, -9} {
		f := math.Exp2(cents / 1200)
		got := OrderError(FromRender(mono(pureTone(Hold(3500*f), 2)), Hold(3500), sled))
		near(t, "hold", got.MeanCents, cents, 0.005)
		near(t, "p95", got.P95Cents, math.Abs(cents), 0.02)
		revs := Sweep(1500, 8000, 8)
		got = OrderError(FromRender(mono(pureTone(func(s float64) float64 { return f * revs(s) }, 8)), revs, sled))
		near(t, "sweep", got.MeanCents, cents, 0.02)
		near(t, "sweep p95", got.P95Cents, math.Abs(cents), 0.1)
	}
}

// A start offset of any phase is no drift; a slow slide by one cycle is one.
func TestDrift(t *testing.T) {
	x := pureTone(Hold(3000), 5)
	got := OrderError(FromRender(mono(x[1234:]), Hold(3000), sled))
	below(t, "drift of an offset", got.MaxDriftCycles, 1e-3)
	// 12 RPM more on a two-stroke are 0.2 Hz: one cycle in 5 s.
	got = OrderError(FromRender(mono(pureTone(Hold(3012), 5)), Hold(3000), sled))
	near(t, "slide", got.MaxDriftCycles, 0.2*(got.TimeS[len(got.TimeS)-1]-got.TimeS[0]), 0.01)
}

func TestOrderErrorWithoutSound(t *testing.T) {
	for _, n := range []int{0, 1, 100, 48000} {
		r := OrderError(FromRender(mono(make([]float64, n)), Hold(3000), sled))
		if !math.IsNaN(r.MedianCents) || !math.IsNaN(r.P95Cents) || !math.IsNaN(r.MaxDriftCycles) {
			t.Errorf("%d silent frames: %+v, want NaN", n, r)
		}
	}
}

func TestStrongOrders(t *testing.T) {
	// Layout table of the engine reference, section 1.
	for _, c := range []struct {
		l    crank.Layout
		want []float64
	}{
		{four, []float64{2, 4, 6, 8, 10, 12}},
		{sled, []float64{2, 4, 6, 8, 10, 12}},
		{crank.Layout{Cylinders: 3, Strokes: 4}, []float64{1.5, 3, 4.5, 6, 7.5, 9}},
		{crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 180}}, []float64{0.5, 1.5, 2, 2.5, 3.5, 4}},
	} {
		got := StrongOrders(c.l)
		if len(got) != len(c.want) {
			t.Fatalf("%+v: %v", c.l, got)
		}
		for i := range got {
			near(t, "order", got[i], c.want[i], 1e-12)
		}
	}
}
