package standin

import (
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/samples"
)

// TestSoundSpeed: row 32 of the engine reference.
func TestSoundSpeed(t *testing.T) {
	for _, c := range [][2]float64{{20, 343.2}, {500, 557.4}} {
		if got := soundSpeed(c[0]); math.Abs(got-c[1]) > 0.1 {
			t.Errorf("c at %g °C: %.2f m/s, want %.1f", c[0], got, c[1])
		}
	}
}

// TestPipeResonates: a pipe closed at one end and open at the other rings at
// odd multiples of c/4L (textbook).
func TestPipeResonates(t *testing.T) {
	const length = 1.2
	p := newPipe([]Segment{{length, 12, 300, false}}, 48000)
	const n = 48000
	x := make([]float64, n)
	for i := range x {
		in := 0.0
		if i == 0 {
			in = 1
		}
		p.step(in)
		x[i] = p.last
	}
	c := fourier.NewFFT(n).Coefficients(nil, x) // 1 Hz a bin
	base := soundSpeed(300) / (4 * length)
	for m := 1.0; m <= 9; m += 2 {
		want := m * base
		best := 0
		for i := int(want - base/2); i < int(want+base/2); i++ {
			if best == 0 || cmplx.Abs(c[i]) > cmplx.Abs(c[best]) {
				best = i
			}
		}
		if math.Abs(float64(best)-want) > 0.03*want+2 {
			t.Errorf("resonance %g: %d Hz, want %.0f", (m+1)/2, best, want)
		}
	}
}

// TestPipeDecays: no pipe of the presets keeps energy.
func TestPipeDecays(t *testing.T) {
	onlyWithoutRace(t)
	for _, a := range allSpecs {
		for _, rate := range []float64{40000, 48000, 192000} {
			p := newPipe(a.spec.Pipe, rate)
			p.step(1)
			late := 0.0
			for i := range int(rate) {
				if y := math.Abs(p.step(0)); i > int(0.7*rate) {
					late = max(late, y)
				}
			}
			if late > 1e-6 {
				t.Errorf("%s at %g Hz: %g after 0.7 s", a.name, rate, late)
			}
		}
	}
}

// TestGamma: the recursion against t²·exp(−t/τ) written out, pulses between
// samples and overlapping.
func TestGamma(t *testing.T) {
	g := newGamma(7.3)
	starts := []float64{-0.4, 11.75, 20.1}
	next := 0
	for n := range 200 {
		for next < len(starts) && starts[next] <= float64(n) {
			g.kick(float64(next+1), float64(n)-starts[next])
			next++
		}
		want := 0.0
		for k, s := range starts[:next] {
			age := float64(n) - s
			want += float64(k+1) * age * age * math.Exp(-age/7.3) / (2 * 7.3 * 7.3 * 7.3)
		}
		if got := g.step(); math.Abs(got-want) > 1e-12 {
			t.Fatalf("sample %d: %g, want %g", n, got, want)
		}
	}
}

// TestPulsesDoNotAlias: a train of the sharpest pulses at a period that is
// no whole number of samples must have nothing between its harmonics.
func TestPulsesDoNotAlias(t *testing.T) {
	const n, cycles = 1 << 15, 187 // pulses in n samples: bins are exact
	g := newGamma(0.00006 * 48000)
	period := float64(n) / cycles
	x := make([]float64, 2*n)
	k := 0
	for i := range x {
		if at := float64(k) * period; at <= float64(i) {
			g.kick(1, float64(i)-at)
			k++
		}
		x[i] = g.step()
	}
	c := fourier.NewFFT(n).Coefficients(nil, x[n:])
	line, between := 0.0, 0.0
	for i := 1; i < len(c); i++ {
		if hz := float64(i) * 48000 / n; hz > 8000 {
			break
		}
		if i%cycles == 0 {
			line = max(line, cmplx.Abs(c[i]))
		} else {
			between = max(between, cmplx.Abs(c[i]))
		}
	}
	if db := samples.AmplitudeDB(between / line); db > -60 {
		t.Errorf("aliases at %.1f dB under the lines below 8 kHz", db)
	}
}

// TestHoldDrifts: the standard deviation is the 0.15 % it says.
func TestHoldDrifts(t *testing.T) {
	f := Hold(4000, 3)
	var sum, sq float64
	const n = 60000
	for i := range n {
		v := f(float64(i)*0.01) - 4000
		sum += v
		sq += v * v
	}
	mean := sum / n
	if sd := math.Sqrt(sq/n - mean*mean); math.Abs(sd-6) > 0.6 || math.Abs(mean) > 1 {
		t.Errorf("mean %+.2f, SD %.2f RPM, want 0 and 6", mean, sd)
	}
	r := Ramp(1000, 3000, 2)
	if r(-1) != 1000 || r(1) != 2000 || r(9) != 3000 {
		t.Errorf("ramp gives %g %g %g", r(-1), r(1), r(9))
	}
}
