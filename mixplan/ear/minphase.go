package ear

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	designFloorDB = -100 // under the largest magnitude; what lies lower is lifted to it
	coarsestHz    = 1.5  // frequency step of the design, at most
)

// impulse returns the minimum-phase impulse response of a magnitude in dB
// over frequency, at a rate, long enough to have died out.
//
// It is the folded real cepstrum (Oppenheim and Schafer): the cepstrum of
// log|H|, its negative times folded onto the positive ones, transformed back
// and exponentiated.
func impulse(db func(hz float64) float64, rateHz int) []float64 {
	n := 4096
	for float64(rateHz)/float64(n) > coarsestHz {
		n *= 2
	}
	fft := fourier.NewFFT(n)
	half := n/2 + 1
	logs := make([]float64, half)
	top := math.Inf(-1)
	for k := 1; k < half; k++ {
		logs[k] = db(float64(k) * float64(rateHz) / float64(n))
		top = max(top, logs[k])
	}
	logs[0] = logs[1]
	spectrum := make([]complex128, half)
	for k, v := range logs {
		spectrum[k] = complex(max(v, top+designFloorDB)*math.Ln10/20, 0)
	}
	cepstrum := fft.Sequence(nil, spectrum) // unnormalised: n times too large
	for i := range cepstrum {
		switch {
		case i == 0 || i == n/2:
			cepstrum[i] /= float64(n)
		case i < n/2:
			cepstrum[i] *= 2 / float64(n)
		default:
			cepstrum[i] = 0
		}
	}
	spectrum = fft.Coefficients(spectrum, cepstrum)
	for k, v := range spectrum {
		spectrum[k] = cmplx.Exp(v)
	}
	h := fft.Sequence(nil, spectrum)
	for i := range h {
		h[i] /= float64(n)
	}
	return h
}

// shorten returns the first taps of h, the last quarter of them faded out.
func shorten(h []float64, taps int) []float64 {
	out := append([]float64(nil), h[:taps]...)
	fade := taps / 4
	for i := range fade {
		out[taps-1-i] *= 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(fade))
	}
	return out
}

// bandGains measures the gain of a FIR filter a third-octave band: the mean
// of |H|² over log frequency. Bands that reach over half the rate are NaN.
func bandGains(h []float64, rateHz int) (gains Levels) {
	n := 4096
	for n < len(h) || float64(rateHz)/float64(n) > coarsestHz/4 {
		n *= 2
	}
	padded := make([]float64, n)
	copy(padded, h)
	spectrum := fourier.NewFFT(n).Coefficients(nil, padded)
	for b := range gains {
		if _, hi := EdgesHz(b); hi > float64(rateHz)/2 {
			gains[b] = math.NaN()
			continue
		}
		const steps = 64
		var sum float64
		for s := range steps {
			at := 1000 * math.Pow(10, float64(b-17)/10-0.05+0.1*(float64(s)+0.5)/steps) * float64(n) / float64(rateHz)
			k := int(at)
			lo, hi := cmplx.Abs(spectrum[k]), cmplx.Abs(spectrum[min(k+1, n/2)])
			m := lo + (hi-lo)*(at-float64(k))
			sum += m * m
		}
		gains[b] = 10 * math.Log10(sum/steps)
	}
	return gains
}
