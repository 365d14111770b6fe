package tacho

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/mjibson/go-dsp/fft"

	"tachbench/samples/crank"
	"tachbench/samples/tone"
)

// One complex transform carries sound and envelope; both must come out as
// two separate real transforms of another library give them.
func TestSplitAgainstSecondFFT(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	z := make([]complex128, 4*fftLen)
	for i := range z {
		z[i] = complex(rng.NormFloat64(), rng.NormFloat64())
	}
	s := newLogSpectra(signal{6000, z}, 0, 20, 0.005, []float64{0})
	if _, ok := s.at(2*fftLen/6000.0, 0); !ok {
		t.Fatal("no sound")
	}
	sound, env := make([]float64, fftLen), make([]float64, fftLen)
	for i := range sound {
		hann := 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/fftLen)
		v := z[2*fftLen-fftLen/2+i]
		sound[i], env[i] = hann*real(v), hann*imag(v)
	}
	for which, x := range [][]float64{sound, env} {
		for k, v := range fft.FFTReal(x)[:fftLen/2+1] {
			want := math.Pow(cmplx.Abs(v), 2)
			if got := s.power[which][k]; math.Abs(got-want) > 1e-9*(1+want) {
				t.Fatalf("spectrum %d bin %d: %g, the other library has %g", which, k, got, want)
			}
		}
	}
}

func TestFastLog2(t *testing.T) {
	for v := 1e-12; v < 1e12; v *= 1.013 {
		if d := fastLog2(v) - math.Log2(v); math.Abs(d) > 0.009 {
			t.Fatalf("log2(%g) is off by %g", v, d)
		}
	}
}

// A chirp read through the warp of its own rate of change is a steady tone:
// its line must be as narrow and high as that of a steady one.
func TestWarpStraightensChirp(t *testing.T) {
	const rate, centre, hz, slope = 6000, 1.0, 400.0, 0.7
	line := func(a float64, warp int) float64 {
		z := make([]complex128, 2*rate)
		for i := range z {
			u := float64(i)/rate - centre
			z[i] = complex(math.Cos(2*math.Pi*hz*(u+a*u*u/2)), 0)
		}
		s := newLogSpectra(signal{rate, z}, 0, 20, 0.005, []float64{0, slope})
		s.at(centre, warp)
		var top float64
		for _, p := range s.power[0] {
			top = math.Max(top, p)
		}
		return top
	}
	steady, warped, smeared := line(0, 0), line(slope, 1), line(slope, 0)
	if warped < 0.98*steady || smeared > 0.6*steady {
		t.Errorf("line power: steady %g, warped chirp %g, chirp as it is %g", steady, warped, smeared)
	}
}

// A sine through the decimator keeps its level in the band and is gone above
// the new band's mirror.
func TestDecimate(t *testing.T) {
	level := func(hz float64) float64 {
		y := decimate(tone.Sine(48000, 1, hz, 1, 0).Chans[0], 8)[200:5800]
		var sum float64
		for _, v := range y {
			sum += 2 * v * v / float64(len(y))
		}
		return math.Sqrt(sum)
	}
	if v := level(1000); math.Abs(v-1) > 0.001 {
		t.Errorf("1 kHz comes out at %g", v)
	}
	if v := level(5000); v > 0.001 {
		t.Errorf("5 kHz leaks at %g", v)
	}
}

// Spacing of the strong orders, counted by hand from the order table.
func TestLineSpacing(t *testing.T) {
	for _, c := range []struct {
		l    crank.Layout
		want int
	}{
		{crank.Layout{Cylinders: 1, Strokes: 4}, 1},
		{crank.Layout{Cylinders: 2, Strokes: 4}, 2},
		{crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 315}}, 1},
		{crank.Layout{Cylinders: 3, Strokes: 4}, 3},
		{crank.Layout{Cylinders: 8, Strokes: 4}, 8},
		{crank.Layout{Cylinders: 2, Strokes: 2}, 2},
	} {
		if got := lineSpacing(c.l); got != c.want {
			t.Errorf("%+v: %d, want %d", c.l, got, c.want)
		}
	}
}
