package peak

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// specimens are random, music-like and adversarial signals.
func specimens() map[string][]float64 {
	const n = 9001
	r := rand.New(rand.NewPCG(4, 2))
	out := map[string][]float64{
		"nothing":         {},
		"one sample":      {0.7},
		"silence":         make([]float64, n),
		"full-scale sine": sine(n, 1, 997.0/48000, 10),
		"near Nyquist":    sine(n, 1, 0.4999, 3),
		"limited":         limited(8, n),
	}
	fill := func(name string, f func(i int) float64) {
		x := make([]float64, n)
		for i := range x {
			x[i] = f(i)
		}
		out[name] = x
	}
	fill("white", func(int) float64 { return r.NormFloat64() })
	fill("two-valued", func(int) float64 { return float64(1 - 2*r.IntN(2)) })
	fill("steady DC", func(int) float64 { return 0.5 })
	fill("alternating", func(i int) float64 { return float64(1 - 2*(i%2)) })
	fill("rising", func(i int) float64 { return float64(i) / n * math.Sin(float64(i)*0.3) })
	fill("rising white", func(i int) float64 { return float64(i) / n * r.NormFloat64() })
	fill("falling", func(i int) float64 { return math.Exp(-float64(i)/500) * math.Sin(float64(i)*0.7) })
	fill("sparse", func(int) float64 {
		if r.IntN(50) == 0 {
			return r.NormFloat64()
		}
		return 0
	})
	fill("chirp", func(i int) float64 { return math.Sin(math.Pi * 0.5 * float64(i) * float64(i) / n) })
	fill("tiny", func(int) float64 { return 1e-310 * r.NormFloat64() })
	fill("huge", func(int) float64 { return 1e11 * r.NormFloat64() })
	// The signs of the taps, the worst the interpolator can be given, at
	// amplitudes that creep up, with a peak just under and over each bound.
	fill("taps", func(i int) float64 {
		j := i % 97
		if j >= 2*reach {
			return 0
		}
		k := j - reach
		if j < reach {
			k = reach - 1 - j
		}
		return math.Copysign(1+float64(i)*1e-6, mid[k])
	})
	x := slices.Clone(out["taps"])
	x[13] = bound.gain * (1 - 1e-9)
	x[4000] = bound.gain * (1 + 2000e-6)
	out["taps near the bound"] = x
	x = slices.Clone(out["white"])
	for i := range x {
		x[i] = math.Round(x[i]*4) / 4 // many ties
	}
	out["coarse"] = x
	return out
}

func sameChannel(a, b Channel) bool {
	return a.Frames == b.Frames && a.SamplePeak == b.SamplePeak && a.SamplePeakFrame == b.SamplePeakFrame &&
		math.Float64bits(a.TruePeak) == math.Float64bits(b.TruePeak) && a.TruePeakFrame == b.TruePeakFrame &&
		math.Float64bits(a.DC) == math.Float64bits(b.DC) && math.Float64bits(a.RMS) == math.Float64bits(b.RMS) && a.Unusable == b.Unusable
}

// Pruned and unpruned agree bit for bit, place included, and both agree with
// the convolution written from the formula.
func TestPruningIsExact(t *testing.T) {
	for name, x := range specimens() {
		pruned, full := measure(t, 48000, false, x).Channels[0], measure(t, 48000, true, x).Channels[0]
		if !sameChannel(pruned, full) {
			t.Errorf("%s: pruned %+v, unpruned %+v", name, pruned, full)
		}
		if slow := convolved(x); math.Abs(slow-pruned.TruePeak) > 1e-13*slow+1e-320 {
			t.Errorf("%s: true peak %.17g, by convolution %.17g", name, pruned.TruePeak, slow)
		}
		if pruned.TruePeak < pruned.SamplePeak {
			t.Errorf("%s: true peak %g under the sample peak %g", name, pruned.TruePeak, pruned.SamplePeak)
		}
	}
}

// Pruning saves nothing if it never prunes.
func TestPruningPrunes(t *testing.T) {
	x := limited(5, 100*chunk)
	for i := range x {
		x[i] *= 0.3
	}
	x[10] = 1
	m, _ := New(48000, 1)
	m.Write([][]float64{x})
	if limit := int64(chunk / stride); m.chans[0].looked > limit {
		t.Errorf("looked into %d blocks, want at most the first chunk's %d", m.chans[0].looked, limit)
	}
}

// The bound is a bound, and no wider than it must be.
func TestBoundIsTight(t *testing.T) {
	var x window
	for k := range reach {
		x[5-k] = math.Copysign(1, mid[k])
		x[6+k] = x[5-k]
	}
	m, _, _ := inGap(&x)
	if m > bound.gain || m < bound.gain*(1-1e-11) {
		t.Errorf("worst case %.15f, bound %.15f", m, bound.gain)
	}
}

func TestBlockSizeDoesNotMatter(t *testing.T) {
	for name, x := range specimens() {
		want := measure(t, 8000, false, x).Channels[0]
		for _, size := range []int{1, 13, 1024, 3000} {
			m, _ := New(8000, 2)
			for part := range slices.Chunk(x, size) {
				m.Write([][]float64{part, part})
				if size == 3000 {
					m.Result() // must change nothing
				}
			}
			for _, got := range m.Result().Channels {
				if !sameChannel(got, want) {
					t.Errorf("%s in blocks of %d: %+v, want %+v", name, size, got, want)
				}
			}
		}
	}
}

func TestAveragesAndPlaces(t *testing.T) {
	x := sine(48000, 0.5, 1.0/48, 0) // 1 kHz, whole periods
	for i := range x {
		x[i] += 0.01
	}
	x[4321] = -0.9
	c := measure(t, 48000, false, x).Channels[0]
	if math.Abs(c.DC-0.01) > 1e-4 {
		t.Errorf("DC %g, want 0.01", c.DC)
	}
	if want := math.Sqrt(0.125 + 0.0001); math.Abs(c.RMS-want) > 1e-4 {
		t.Errorf("RMS %g, want %g", c.RMS, want)
	}
	if c.SamplePeak != 0.9 || c.SamplePeakFrame != 4321 {
		t.Errorf("sample peak %g at %d, want 0.9 at 4321", c.SamplePeak, c.SamplePeakFrame)
	}
	// A sine crests 3.01 dB over its RMS.
	if crest, ok := measure(t, 48000, false, sine(48000, 0.3, 1.0/48, 0)).Channels[0].CrestDB(); !ok || math.Abs(crest-3.0103) > 1e-3 {
		t.Errorf("crest of a sine %g dB, want 3.01", crest)
	}
}

// A swell of known centre peaks at its centre, to a quarter of a frame.
func TestTruePeakIsPlaced(t *testing.T) {
	for _, sign := range []float64{1, -1} {
		for _, centre := range []float64{100, 100.25, 100.5, 100.75, 1031.25, 1031.75} {
			x := make([]float64, 2000)
			for i := range x {
				d := float64(i) - centre
				x[i] = sign * math.Exp(-d*d/1000) * math.Cos(2*math.Pi*d/9)
			}
			if c := measure(t, 48000, false, x).Channels[0]; c.TruePeakFrame != centre {
				t.Errorf("swell around %g: peak at %g", centre, c.TruePeakFrame)
			}
		}
	}
}

// A hard end rings: the machine plays silence after the last frame.
func TestRingingAtTheEdgesCounts(t *testing.T) {
	x := []float64{1, 1}
	for pad := range 1100 {
		y := append(make([]float64, pad), x...)
		if c := measure(t, 48000, false, y).Channels[0]; c.TruePeakFrame != float64(pad)+0.5 || c.TruePeak < 1.25 {
			t.Errorf("two ones after %d zeros: %g at %g", pad, c.TruePeak, c.TruePeakFrame)
		}
	}
	// Two ones with opposite neighbours outside: the largest value lies
	// before the first sample or after the last.
	edge := []float64{1, -1, 1, -1, 1, -1}
	c := measure(t, 48000, false, edge).Channels[0]
	if slow := convolved(edge); math.Abs(c.TruePeak-slow) > 1e-12 {
		t.Errorf("edges: %g, by convolution %g", c.TruePeak, slow)
	}
}

func TestSilenceHasNoLevels(t *testing.T) {
	for _, x := range [][]float64{nil, {0}, make([]float64, 5000), {math.NaN(), math.Inf(1)}} {
		r := measure(t, 192000, false, x, x)
		if _, ok := r.TruePeakDBTP(); ok {
			t.Error("silence has a true peak")
		}
		if _, ok := r.SamplePeakDBFS(); ok {
			t.Error("silence has a sample peak")
		}
		c := r.Channels[1]
		if _, ok := c.CrestDB(); ok || c.SamplePeakFrame != -1 || c.TruePeakFrame != -1 || c.RMS != 0 || c.DC != 0 {
			t.Errorf("silence: %+v", c)
		}
	}
}

func TestEveryChannelCounts(t *testing.T) {
	block := make([][]float64, 6)
	for c := range block {
		block[c] = make([]float64, 3000)
	}
	block[3] = sine(3000, 0.5, 1./4, 45) // LFE
	block[5][7] = math.Inf(-1)
	r := measure(t, 48000, false, block...)
	if db, ok := r.TruePeakDBTP(); !ok || db < -6.3 || r.Loudest() != 3 || r.Unusable() != 1 {
		t.Errorf("true peak %g %v in channel %d, %d unusable", db, ok, r.Loudest(), r.Unusable())
	}
}

func TestNewRefuses(t *testing.T) {
	for _, c := range [][2]int{{7999, 1}, {192001, 1}, {48000, 0}, {48000, 17}} {
		if m, err := New(c[0], c[1]); err == nil || m != nil {
			t.Errorf("New(%d, %d) gave no error", c[0], c[1])
		}
	}
}

func FuzzPruning(f *testing.F) {
	f.Add(uint64(1), 1.0, uint16(3000), uint16(100), false)
	f.Add(uint64(2), 1e30, uint16(1024), uint16(1023), true)
	f.Add(uint64(3), math.Inf(1), uint16(9), uint16(8), false)
	f.Fuzz(func(t *testing.T, seed uint64, scale float64, frames, at uint16, two bool) {
		r := rand.New(rand.NewPCG(seed, 1))
		x := make([]float64, frames)
		for i := range x {
			x[i] = r.NormFloat64()
			if two {
				x[i] = math.Copysign(1, x[i])
			}
			if i >= int(at) {
				x[i] *= scale
			}
		}
		pruned, full := measure(t, 48000, false, x).Channels[0], measure(t, 48000, true, x).Channels[0]
		if !sameChannel(pruned, full) {
			t.Fatalf("pruned %+v, unpruned %+v", pruned, full)
		}
		if !(pruned.TruePeak >= pruned.SamplePeak) || math.IsNaN(pruned.RMS+pruned.DC) || math.IsInf(pruned.TruePeak, 0) {
			t.Fatalf("%+v", pruned)
		}
	})
}
