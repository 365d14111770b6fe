package resample

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
	"tachbench/samples"
)

// Required of the project are 110 dB of signal to error and 100 dB of alias
// rejection, about what a 24-bit master needs (common practice, no source). The
// design with its 120 dB stop band holds more, and the tests ask for that.
const (
	wantSNRDB   = 125
	wantAliasDB = 120
)

func sine(rateHz int, hz float64, frames int) *samples.Sound {
	s := samples.NewSound(rateHz, 1, frames)
	for i := range s.Chans[0] {
		s.Chans[0][i] = math.Sin(2*math.Pi*hz*float64(i)/float64(rateHz) + 0.3)
	}
	return s
}

// middle returns the sound without its ends, where the silence around it
// shapes the result.
func middle(s *samples.Sound) []float64 {
	x := s.Chans[0]
	return x[len(x)/4 : len(x)*3/4]
}

// fitSine returns amplitude, phase against the first sample, and the RMS of
// what is left after a least-squares fit of a sine of known frequency
// (IEEE 1057 three-parameter fit, without the constant).
func fitSine(x []float64, radPerSample float64) (amp, phase, restRMS float64) {
	var ss, cc, sc, xs, xc float64
	for i, v := range x {
		s, c := math.Sincos(radPerSample * float64(i))
		ss += s * s
		cc += c * c
		sc += s * c
		xs += v * s
		xc += v * c
	}
	det := ss*cc - sc*sc
	a := (xs*cc - xc*sc) / det
	b := (xc*ss - xs*sc) / det
	var e float64
	for i, v := range x {
		s, c := math.Sincos(radPerSample * float64(i))
		d := v - a*s - b*c
		e += d * d
	}
	return math.Hypot(a, b), math.Atan2(b, a), math.Sqrt(e / float64(len(x)))
}

func TestSNRAfterSineFit(t *testing.T) {
	for _, c := range []struct {
		from, to int
		hz       []float64
	}{
		{44100, 48000, []float64{100, 997, 1000, 5000, 10000, 15000, 18000, 20000}},
		{48000, 44100, []float64{1000, 10000, 15000, 18000, 20000}},
		{44100, 47999, []float64{1000, 10000, 15000, 18000}}, // blended rows
		{47999, 44100, []float64{1000, 10000, 15000, 18000}},
		{96000, 44101, []float64{1000, 10000, 15000, 18000}},
		{22050, 48000, []float64{1000, 9000}},
		{8000, 192000, []float64{1000, 3500}},
		{192000, 8000, []float64{1000, 3500}},
	} {
		for _, hz := range c.hz {
			t.Run(fmt.Sprintf("%d to %d, %g Hz", c.from, c.to, hz), func(t *testing.T) {
				out := Sound(sine(c.from, hz, c.from/2), c.to)
				x := middle(out)
				w := 2 * math.Pi * hz / float64(c.to)
				amp, phase, rest := fitSine(x, w)
				snr := samples.AmplitudeDB(amp / math.Sqrt2 / rest)
				if snr < wantSNRDB {
					t.Errorf("SNR %.1f dB, want %d", snr, wantSNRDB)
				}
				// Aligned in time: the phase is that of the original.
				want := w*float64(out.Frames()/4) + 0.3
				if d := math.Remainder(phase-want, 2*math.Pi); math.Abs(d) > 1e-5 {
					t.Errorf("phase is off by %g rad", d)
				}
				// Flat band of the default filter.
				if db := samples.AmplitudeDB(amp); math.Abs(db) > 1e-3 {
					t.Errorf("gain %+.5f dB", db)
				}
				t.Logf("SNR %.1f dB, gain %+.6f dB", snr, samples.AmplitudeDB(amp))
			})
		}
	}
}

func TestAliasRejection(t *testing.T) {
	for _, c := range []struct {
		from, to int
		hz       []float64
	}{
		{48000, 44100, []float64{22051, 22500, 23000, 23900}},
		{48000, 32000, []float64{16001, 17000, 20000, 23000}},
		{48000, 8000, []float64{4001, 4200, 7000, 12000, 20000}},
		{96000, 44101, []float64{22100, 30000, 47000}},
		{192000, 8000, []float64{4001, 5000, 50000, 95000}},
	} {
		for _, hz := range c.hz {
			out := Sound(sine(c.from, hz, c.from/2), c.to)
			db := samples.AmplitudeDB(samples.RMS(middle(out)) * math.Sqrt2)
			if db > -wantAliasDB {
				t.Errorf("%d to %d: a tone of %g Hz comes back at %.1f dB, want below -%d", c.from, c.to, hz, db, wantAliasDB)
			}
			t.Logf("%d to %d, %g Hz: %.1f dB", c.from, c.to, hz, db)
		}
	}
}

// TestFlatBand measures the gain up to 20 kHz, 0.907 of the lower Nyquist
// frequency of both rates: ±0.01 dB is required, ±0.001 dB is held here.
func TestFlatBand(t *testing.T) {
	for _, c := range []struct{ from, to int }{{44100, 48000}, {48000, 44100}, {44100, 47999}} {
		const edge = 20000.0
		var worst float64
		for hz := 20.0; hz <= edge; hz *= 1.25 {
			amp, _, _ := fitSine(middle(Sound(sine(c.from, hz, c.from/5), c.to)), 2*math.Pi*hz/float64(c.to))
			worst = math.Max(worst, math.Abs(samples.AmplitudeDB(amp)))
		}
		amp, _, _ := fitSine(middle(Sound(sine(c.from, edge, c.from/5), c.to)), 2*math.Pi*edge/float64(c.to))
		worst = math.Max(worst, math.Abs(samples.AmplitudeDB(amp)))
		if worst > 1e-3 {
			t.Errorf("%d to %d: ripple ±%.5f dB up to %g Hz", c.from, c.to, worst, edge)
		}
		t.Logf("%d to %d: ripple ±%.6f dB up to %g Hz", c.from, c.to, worst, edge)
	}
}

// TestAgainstFourier compares with an independent method that is exact for a
// band-limited periodic signal: its spectrum read out on the other grid.
func TestAgainstFourier(t *testing.T) {
	for _, c := range []struct{ from, to, period int }{
		{44100, 48000, 147 * 8},
		{48000, 44100, 160 * 8},
		{44100, 22050, 1000},
		{8000, 192000, 500},
		{44100, 47999, 44100 / 4}, // the other grid does not close; evaluated point by point
	} {
		x := bandLimited(c.period, 0.9*math.Min(1, float64(c.to)/float64(c.from)))
		const periods = 6
		in := samples.NewSound(c.from, 1, periods*c.period)
		for i := range in.Chans[0] {
			in.Chans[0][i] = x[i%c.period]
		}
		out := Sound(in, c.to).Chans[0]
		lo := len(out)/2 - 300
		var e, p float64
		for n := lo; n < lo+600; n++ {
			want := fourierAt(x, float64(n)*float64(c.from)/float64(c.to))
			e += (out[n] - want) * (out[n] - want)
			p += want * want
		}
		db := samples.PowerDB(e / p)
		if db > -wantSNRDB {
			t.Errorf("%d to %d: differs from the Fourier series by %.1f dB, want below -%d", c.from, c.to, db, wantSNRDB)
		}
		t.Logf("%d to %d: %.1f dB", c.from, c.to, db)
	}
}

// bandLimited returns one period of noise whose spectrum ends at a fraction
// of the Nyquist frequency.
func bandLimited(n int, fraction float64) []float64 {
	rng := rand.New(rand.NewPCG(7, uint64(n)))
	fft := fourier.NewFFT(n)
	spec := make([]complex128, n/2+1)
	for k := range spec {
		if float64(k) < fraction*float64(n)/2 {
			spec[k] = complex(rng.NormFloat64(), rng.NormFloat64()) / complex(float64(n), 0)
		}
	}
	spec[0] = complex(real(spec[0]), 0)
	return fft.Sequence(nil, spec)
}

var seriesCache = map[*float64][]complex128{}

// fourierAt evaluates the Fourier series of one period x at position t.
func fourierAt(x []float64, t float64) float64 {
	spec := seriesCache[&x[0]]
	if spec == nil {
		spec = fourier.NewFFT(len(x)).Coefficients(nil, x)
		seriesCache[&x[0]] = spec
	}
	n := float64(len(x))
	sum := real(spec[0])
	for k := 1; k < len(spec); k++ {
		if spec[k] != 0 {
			sum += 2 * real(spec[k]*cmplx.Exp(complex(0, 2*math.Pi*float64(k)*t/n)))
		}
	}
	return sum / n
}

func TestUpAndBack(t *testing.T) {
	x := bandLimited(800, 0.9)
	in := samples.NewSound(8000, 1, 8000)
	for i := range in.Chans[0] {
		in.Chans[0][i] = x[i%len(x)]
	}
	back := Sound(Sound(in, 192000), 8000)
	if back.Frames() != in.Frames() {
		t.Fatalf("%d frames came back of %d", back.Frames(), in.Frames())
	}
	var e, p float64
	for i := 2000; i < 6000; i++ {
		d := back.Chans[0][i] - in.Chans[0][i]
		e += d * d
		p += in.Chans[0][i] * in.Chans[0][i]
	}
	if db := samples.PowerDB(e / p); db > -wantSNRDB {
		t.Errorf("8 to 192 kHz and back differs by %.1f dB", db)
	}
}
