package tone_test

import (
	"math"
	"slices"
	"testing"

	"github.com/mjibson/go-dsp/fft"

	"tachbench/samples"
	"tachbench/samples/crank"
	"tachbench/samples/tone"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g ± %g", what, got, want, tol)
	}
}

// A full-scale sine has RMS 1/√2 and its value at any time by definition.
func TestSine(t *testing.T) {
	s := tone.Sine(48000, 100, 997, 0.5, math.Pi/3)
	near(t, "RMS", samples.RMS(s.Chans[0]), 0.5/math.Sqrt2, 1e-6)
	near(t, "first", s.Chans[0][0], 0.5*math.Sin(math.Pi/3), 1e-15)
	// 48000 frames on the phase has turned exactly 997 times.
	near(t, "99 s later", s.Chans[0][99*48000+7], s.Chans[0][7], 1e-9)
}

func TestSimpleSignals(t *testing.T) {
	if s := tone.Silence(8000, 6, 0.5); s.Channels() != 6 || s.Frames() != 4000 || samples.RMS(s.Chans[5]) != 0 {
		t.Error("silence")
	}
	if s := tone.DC(8000, 1, 0.25); slices.Min(s.Chans[0]) != 0.25 || slices.Max(s.Chans[0]) != 0.25 {
		t.Error("DC")
	}
	s := tone.Impulse(8000, 1, 10, -1)
	if s.Chans[0][10] != -1 || samples.RMS(s.Chans[0][:10]) != 0 || samples.RMS(s.Chans[0][11:]) != 0 {
		t.Error("impulse")
	}
}

func TestNoise(t *testing.T) {
	s := tone.White(48000, 2, 4, 0.1, 3)
	near(t, "white RMS", samples.RMS(s.Chans[0]), 0.1, 0.001)
	var cross float64
	for i, v := range s.Chans[0] {
		cross += v * s.Chans[1][i] / 0.01 / float64(s.Frames())
	}
	near(t, "correlation of the channels", cross, 0, 0.01)
	if !slices.Equal(s.Chans[1], tone.White(48000, 2, 4, 0.1, 3).Chans[1]) || slices.Equal(s.Chans[0], tone.White(48000, 2, 4, 0.1, 4).Chans[0]) {
		t.Error("seed")
	}
	near(t, "pink RMS", samples.RMS(tone.Pink(48000, 1, 0.2, 1).Chans[0]), 0.2, 1e-12)
}

// Pink noise has the same power in every octave, by definition.
func TestPinkOctaves(t *testing.T) {
	x := tone.Pink(44100, 6, 1, 5).Chans[0][:1<<18]
	spec := fft.FFTReal(x)
	var db []float64
	for hz := 62.5; hz < 10000; hz *= 2 {
		var p float64
		for k := int(hz * (1 << 18) / 44100); k < int(2*hz*(1<<18)/44100); k++ {
			p += real(spec[k])*real(spec[k]) + imag(spec[k])*imag(spec[k])
		}
		db = append(db, samples.PowerDB(p))
	}
	if d := slices.Max(db) - slices.Min(db); d > 1 {
		t.Errorf("octaves differ by %.2f dB: %.2f", d, db)
	}
}

// An exponential sweep passes the geometric mean of its ends at half time;
// zero crossings count its turns.
func TestSweep(t *testing.T) {
	x := tone.Sweep(48000, 2, 100, 1600, 1).Chans[0]
	turns := func(a, b int) (n float64) {
		for i := a + 1; i < b; i++ {
			if x[i-1] < 0 && x[i] >= 0 {
				n++
			}
		}
		return n
	}
	near(t, "Hz at half time", turns(48000-2400, 48000+2400)/0.1, 400, 10)
	near(t, "all turns", turns(0, 96000), 1500*2/math.Log(16), 1.5)
}

// The truth of a linear pull is known in closed form: ∫N/120 dt.
func TestEngineTruth(t *testing.T) {
	_, truth := tone.Engine(tone.EngineSpec{Layout: crank.Layout{Cylinders: 4, Strokes: 4}, RPM: tone.Pull(1000, 3000, 2), DurationS: 2, RateHz: 44100})
	near(t, "cycles", truth.Phase[2000], 33.33333, 1e-4)
	near(t, "cycles after 1 s", truth.Phase[1000], (1000+500)/120.0, 1e-6)
	near(t, "RPM after 1 s", truth.RPM[1000], 2000, 1e-9)
}

// Without jitter, variation and differences a hold repeats exactly every
// cycle, and its lines stand where the layout has orders and nowhere else.
func TestEngineOrders(t *testing.T) {
	layout := crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 270}}
	// 48000 frames hold exactly 20 cycles at 2400 RPM.
	s, _ := tone.Engine(tone.EngineSpec{Layout: layout, RPM: tone.Hold(2400), DurationS: 2, SpreadDB: -1, CycleVariation: -1, JitterDeg: -1})
	x := s.Chans[0][48000:]
	near(t, "RMS", samples.RMS(s.Chans[0]), 0.1, 1e-9)
	for i := 2400; i < len(x); i++ {
		if math.Abs(x[i]-x[i-2400]) > 1e-8 {
			t.Fatalf("frame %d differs from the cycle before by %g", i, x[i]-x[i-2400])
		}
	}
	spec := fft.FFTReal(x)
	amp := func(order float64) float64 {
		v := spec[int(math.Round(order*2400/60))]
		return math.Hypot(real(v), imag(v)) / float64(len(x))
	}
	if strong, none := amp(1.5), amp(2); none > 1e-6*strong {
		t.Errorf("a 270-450 twin has no order 2; found %g against %g at order 1.5", none, strong)
	}
	if between := amp(1.25); between > 1e-6*amp(1.5) {
		t.Errorf("something lies between the orders: %g", between)
	}
}

func TestEngineHissAndChannels(t *testing.T) {
	spec := tone.EngineSpec{Layout: crank.Layout{Cylinders: 2, Strokes: 2}, RPM: tone.Hold(3000), DurationS: 2, Channels: 2, Seed: 7}
	clean, _ := tone.Engine(spec)
	spec.SNRDB = 20
	noisy, _ := tone.Engine(spec)
	for c := range clean.Chans {
		diff := make([]float64, clean.Frames())
		for i := range diff {
			diff[i] = noisy.Chans[c][i] - clean.Chans[c][i]
		}
		near(t, "hiss below engine, dB", samples.AmplitudeDB(samples.RMS(clean.Chans[c])/samples.RMS(diff)), 20, 0.1)
	}
	again, _ := tone.Engine(spec)
	if !slices.Equal(noisy.Chans[1], again.Chans[1]) {
		t.Error("not repeatable")
	}
}

func TestEngineRefusesNonsense(t *testing.T) {
	for _, spec := range []tone.EngineSpec{
		{},
		{Layout: crank.Layout{Cylinders: 1, Strokes: 4}, DurationS: 1},
		{Layout: crank.Layout{Cylinders: 1, Strokes: 4}, RPM: tone.Hold(-5), DurationS: 1},
		{Layout: crank.Layout{Cylinders: 1, Strokes: 4}, RPM: tone.Hold(1000)},
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%+v made a sound", spec)
				}
			}()
			tone.Engine(spec)
		}()
	}
}
