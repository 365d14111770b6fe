package meet

import (
	"math"
	"math/rand/v2"
	"testing"

	"tachbench/analysis/band"
	"tachbench/mixplan/ear"
)

func noise(n int, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, n)
	for i := range x {
		x[i] = 0.1 * r.NormFloat64()
	}
	return x
}

func mean(frames []ear.Levels) (m ear.Levels) {
	for i := range frames {
		for b, p := range frames[i] {
			m[b] += p / float64(len(frames))
		}
	}
	return m
}

// White noise has the same power in each hertz: a band of width w of a rate
// r holds the share 2·w/r of the mean square 0.01.
func TestWhiteNoiseByHand(t *testing.T) {
	for _, rate := range []int{8000, 44100, 48000, 192000} {
		m := mean(NewAnalyser(rate).Frames(noise(12*rate, 3)))
		for b := range m {
			lo, hi := ear.EdgesHz(b)
			if hi > float64(rate)/2 {
				break
			}
			want := 0.01 * 2 * (hi - lo) / float64(rate)
			// Standard deviation of the estimate from the number of
			// independent values, 2·T·width.
			tol := 4 * 4.34 / math.Sqrt(12*(hi-lo))
			if d := 10 * math.Log10(m[b]/want); math.Abs(d) > tol+0.02 {
				t.Errorf("%d Hz, band %.0f Hz: %.3f dB off, %.3f allowed", rate, ear.MidHz(b), d, tol)
			}
		}
	}
}

// The long-term third-octave meter is another implementation.
func TestAgreesWithLongTermMeter(t *testing.T) {
	const rate = 48000
	x := noise(5*rate, 9)
	y := 0.0
	for i := range x { // about 6 dB an octave down, plus two tones off the edges
		y += 0.02 * (x[i] - y)
		x[i] = y + 0.05*math.Sin(2*math.Pi*100*float64(i)/rate) + 0.02*math.Sin(2*math.Pi*1000*float64(i)/rate)
	}
	meter, err := band.New(rate, 1)
	if err != nil {
		t.Fatal(err)
	}
	meter.Write([][]float64{x})
	want := ear.SpectrumDBFS(meter.Result()[0])
	m := mean(NewAnalyser(rate).Frames(x))
	for b := 3; b < ear.Bands; b++ {
		tol := 0.5
		if b < ear.SpeechFrom {
			tol = 1.2 // few bins, a tone leaks a little
		}
		got := 10 * math.Log10(m[b])
		if want[b] < -75 {
			continue
		}
		if math.Abs(got-want[b]) > tol {
			t.Errorf("band %.0f Hz: %.2f dBFS, long-term %.2f", ear.MidHz(b), got, want[b])
		}
	}
}

func TestEndsReadAsTheMiddle(t *testing.T) {
	const rate = 48000
	for _, hz := range []float64{50, 200, 1000, 4000} {
		x := make([]float64, rate)
		for i := range x {
			x[i] = 0.5 * math.Sin(2*math.Pi*hz*float64(i)/rate)
		}
		f := NewAnalyser(rate).Frames(x)
		for _, i := range []int{0, 1, len(f) / 2, len(f) - 2} {
			sum := 0.0
			for _, p := range f[i] {
				sum += p
			}
			// A tone of amplitude 0.5 has the mean square 0.125.
			if d := 10 * math.Log10(sum/0.125); math.Abs(d) > 1.2 {
				t.Errorf("%g Hz, frame %d of %d: %.2f dB off", hz, i, len(f), d)
			}
		}
	}
}

// Whatever its length, a short sound keeps its energy: a burst of 0.5 s and
// one of three and a half frames.
func TestEnergyIsKept(t *testing.T) {
	a := NewAnalyser(48000)
	for _, n := range []int{24000, 3*a.step + 300, a.step / 3} {
		x := make([]float64, n)
		for i := range x {
			x[i] = 0.3 * math.Sin(2*math.Pi*2000*float64(i)/48000)
		}
		sum := 0.0
		for _, l := range a.Frames(x) {
			for _, p := range l[highFrom:] {
				sum += p * float64(a.step)
			}
		}
		if d := 10 * math.Log10(sum/(0.045*float64(n))); math.Abs(d) > 0.25 {
			t.Errorf("%d samples: energy %.2f dB off", n, d)
		}
	}
}

func TestFramesOfLittle(t *testing.T) {
	a := NewAnalyser(48000)
	if f := a.Frames(nil); len(f) != 0 {
		t.Error("frames of nothing")
	}
	if f := a.Frames([]float64{1}); len(f) != 1 || f[0][20] < 0 || math.IsNaN(f[0][20]) {
		t.Errorf("one sample: %v", f)
	}
	for _, l := range a.Frames(make([]float64, 10001)) {
		for _, p := range l {
			if p != 0 {
				t.Fatal("silence is not silent")
			}
		}
	}
}

func BenchmarkFrames(b *testing.B) {
	const rate = 48000
	x := noise(4*rate, 2)
	a := NewAnalyser(rate)
	b.ReportAllocs()
	for b.Loop() {
		a.Frames(x)
	}
	b.ReportMetric(4*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
