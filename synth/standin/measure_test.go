package standin

import (
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/samples"
	"tachbench/samples/crank"
)

var allSpecs = []struct {
	name string
	spec Spec
}{
	{"snow sled", SnowSled()}, {"even twin", EvenTwin()}, {"V-twin", VTwin()},
	{"triple", Triple()}, {"four", Four()}, {"single", Single()},
}

// onlyWithoutRace skips measurements of sound under the race detector: they
// start no goroutine, and it slows the sample loop thirtyfold.
func onlyWithoutRace(t *testing.T) {
	t.Helper()
	if raceOn {
		t.Skip("arithmetic on one goroutine; run without -race")
	}
}

// wholeRPM returns revs near rpm at which an engine cycle is a whole number
// of samples at 48 kHz, and that number.
func wholeRPM(l crank.Layout, rpm float64) (float64, int) {
	n := int(math.Round(48000 / l.CycleHz(rpm)))
	return l.RPM(48000 / float64(n)), n
}

// hold records seconds of steady revs at 48 kHz in mono.
func hold(s Spec, rpm, load, seconds float64) []float64 {
	snd, _ := Record(s, Always(rpm), Always(load), seconds, 48000, 1, 5)
	return snd.Chans[0]
}

// orderLevel returns the amplitude of an order in x, revs steady.
func orderLevel(x []float64, rpm, order float64) float64 {
	var sum complex128
	turn := cmplx.Exp(complex(0, -2*math.Pi*order*rpm/60/48000))
	at := complex(1, 0)
	for _, v := range x {
		sum += complex(v, 0) * at
		at *= turn
	}
	return 2 * cmplx.Abs(sum) / float64(len(x))
}

// wholeCycles cuts x to a whole number of cycles.
func wholeCycles(x []float64, cycle int) []float64 { return x[:len(x)/cycle*cycle] }

// nextCycle returns the mean normalised correlation of successive cycles.
func nextCycle(x []float64, cycle int) float64 {
	sum, n := 0.0, 0.0
	for at := 0; at+2*cycle <= len(x); at += cycle {
		var ab, aa, bb float64
		for i := at; i < at+cycle; i++ {
			ab += x[i] * x[i+cycle]
			aa += x[i] * x[i]
			bb += x[i+cycle] * x[i+cycle]
		}
		sum += ab / math.Sqrt(aa*bb)
		n++
	}
	return sum / n
}

// octaves are the centres of the bands of periodicAndRest.
var octaves = [...]float64{62.5, 125, 250, 500, 1000, 2000, 4000, 8000, 16000}

// periodicAndRest splits x into its mean cycle and what is left, and gives
// the power of both in octave bands (dB). A mean of n cycles keeps 1/n of
// the rest, which is taken off.
func periodicAndRest(x []float64, cycle int) (periodic, rest [len(octaves)]float64) {
	n := len(x) / cycle
	mean := make([]float64, cycle)
	for k := range n {
		for i := range mean {
			mean[i] += x[k*cycle+i] / float64(n)
		}
	}
	fft := fourier.NewFFT(cycle)
	bands := func(y []float64, to *[len(octaves)]float64) {
		for i, c := range fft.Coefficients(nil, y)[1:] {
			hz := float64(i+1) * 48000 / float64(cycle)
			b := int(math.Round(math.Log2(hz / octaves[0])))
			a := cmplx.Abs(c) / float64(cycle)
			to[min(max(b, 0), len(octaves)-1)] += 2 * a * a
		}
	}
	bands(mean, &periodic)
	left := make([]float64, cycle)
	for k := range n {
		for i := range left {
			left[i] = x[k*cycle+i] - mean[i]
		}
		bands(left, &rest)
	}
	for b := range rest {
		rest[b] /= float64(n - 1)
		periodic[b] = samples.PowerDB(max(periodic[b]-rest[b]/float64(n), 1e-15))
		rest[b] = samples.PowerDB(max(rest[b], 1e-15))
	}
	return periodic, rest
}

// spectrumDB is a Welch estimate: 8192 points, Hann, half overlap.
func spectrumDB(x []float64) (db []float64, stepHz float64) {
	const n = 8192
	fft := fourier.NewFFT(n)
	power := make([]float64, n/2+1)
	y := make([]float64, n)
	for at := 0; at+n <= len(x); at += n / 2 {
		for i := range y {
			y[i] = x[at+i] * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/n))
		}
		for i, c := range fft.Coefficients(nil, y) {
			power[i] += real(c)*real(c) + imag(c)*imag(c)
		}
	}
	for i := range power {
		power[i] = samples.PowerDB(power[i] + 1e-30)
	}
	return power, 48000.0 / n
}

// smooth averages db over ±width/2 Hz.
func smooth(db []float64, stepHz, widthHz float64) []float64 {
	h := int(widthHz / stepHz / 2)
	out := make([]float64, len(db))
	for i := range db {
		lo, hi := max(0, i-h), min(len(db), i+h+1)
		for _, v := range db[lo:hi] {
			out[i] += v / float64(hi-lo)
		}
	}
	return out
}
