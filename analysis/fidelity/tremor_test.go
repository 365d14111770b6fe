package fidelity

import (
	"math"
	"testing"

	"tachbench/samples/tone"
)

func TestTremorOfIdenticalInput(t *testing.T) {
	s := take(t, engine(sled, Hold(3500), 4, 1), sled)
	r := Tremor(s, s)
	if r.WorstDB != 0 || r.MeanSlow != 0 || r.LargestAbsDB != 0 {
		t.Errorf("identical takes differ: %+v", r)
	}
	if len(r.Bands) < 15 {
		t.Errorf("%d bands", len(r.Bands))
	}
}

// A sine of 1 kHz with amplitude modulation of depth m has the envelope
// 1+m·sin, whose modulation power is m²/2.
func TestModulationDepth(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a second goroutine")
	}
	am := func(m, hz float64) *Take {
		x := tone.Sine(48000, 4, 1000, 0.3, 0).Chans[0]
		for i := range x {
			x[i] *= 1 + m*math.Sin(2*math.Pi*hz*float64(i)/48000)
		}
		return FromRender(mono(x), Hold(3500), sled)
	}
	// The bands around 1 kHz carry it; sidebands of 40 Hz lie on the slope
	// of a filter 132 Hz wide, so 4 Hz is exact and 40 Hz is not.
	band := func(r TremorResult) TremorBand {
		best := r.Bands[0]
		for _, b := range r.Bands {
			if math.Abs(b.CentreHz-1000) < math.Abs(best.CentreHz-1000) {
				best = b
			}
		}
		return best
	}
	b := band(Tremor(am(0.4, 4), am(0.1, 4)))
	near(t, "depth 0.4 at 4 Hz", b.RenderSlow, 0.4*0.4/2, 0.001)
	near(t, "depth 0.1 at 4 Hz", b.Slow, 0.1*0.1/2, 0.0001)
	r := Tremor(am(0.4, 4), am(0.1, 4))
	near(t, "4 Hz, render − source", r.WorstSlowDB, 20*math.Log10(4), 0.1)
	r = Tremor(am(0.4, 40), am(0.1, 40))
	near(t, "40 Hz, render − source", r.WorstRough, 20*math.Log10(4), 0.5)
}

// Two takes of one engine must be within the target, else the target would
// measure chance.
func TestTremorOfAnotherTake(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a second goroutine")
	}
	for _, rpm := range []float64{1600, 3500, 7000} {
		a, b := halves(t, rpm, 5, 1)
		r := Tremor(a, b)
		t.Logf("%.0f RPM: worst slow %.2f rough %.2f, mean %.2f %.2f, floor %.2f, bands %d", rpm, r.WorstSlowDB, r.WorstRough, r.MeanSlow, r.MeanRough, r.FloorDB, len(r.Bands))
		below(t, "worst", r.WorstDB, 2)
	}
}

// A tremble of ±1.5 dB at 6 Hz laid over the engine must fail.
func TestTremorFindsATremble(t *testing.T) {
	a, b := halves(t, 3500, 5, 1)
	x := a.X
	for i := range x {
		x[i] *= math.Pow(10, 1.5*math.Sin(2*math.Pi*6*float64(i)/48000)/20)
	}
	r := Tremor(a, b)
	t.Logf("worst slow %.2f dB, rough %.2f dB", r.WorstSlowDB, r.WorstRough)
	if r.WorstDB <= 2 {
		t.Errorf("a tremble passes with %.2f dB", r.WorstDB)
	}
}

func TestTremorWithoutMaterial(t *testing.T) {
	s := take(t, engine(sled, Hold(3500), 2, 1), sled)
	for _, n := range []int{0, 1, 1000, 96000} {
		silent := FromRender(mono(make([]float64, n)), Hold(3500), sled)
		for _, r := range []TremorResult{Tremor(silent, s), Tremor(s, silent)} {
			if !math.IsNaN(r.WorstDB) || len(r.Bands) > 0 {
				t.Errorf("%d silent frames: worst %v", n, r.WorstDB)
			}
		}
	}
}

func TestLevelStep(t *testing.T) {
	// Levels that alternate by ±a dB from cycle to cycle step by 2a each
	// time: the deviation of +2a, -2a, … is 2a.
	tk := FromRender(mono(make([]float64, 48000)), Hold(3000), sled)
	x := tk.X
	for i, p := range tk.Phase {
		g := math.Pow(10, 0.5*math.Pow(-1, math.Floor(p))/20)
		x[i] = g * math.Sin(2*math.Pi*2*p) * math.Pow(math.Sin(math.Pi*p), 2)
	}
	r := LevelStep(tk, tk)
	near(t, "alternating ±0.5 dB", r.RenderSDDB, 1, 0.01)
	near(t, "identical", r.ExcessDB, 0, 0)
	a, b := halves(t, 3500, 5, 1)
	r = LevelStep(a, b)
	t.Logf("two takes: %.2f and %.2f dB", r.RenderSDDB, r.SourceSDDB)
	below(t, "two takes", math.Abs(r.ExcessDB), 0.1)
	if r := LevelStep(FromRender(mono(nil), Hold(1), sled), a); !math.IsNaN(r.RenderSDDB) {
		t.Error("a level step without sound")
	}
}
