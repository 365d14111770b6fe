package tacho

import (
	"math"

	"gonum.org/v1/gonum/dsp/window"

	"tachbench/samples"
)

// workRateHz is the rate the tracker works at, roughly: the lines that tell
// the revs lie below 2.5 kHz for every engine in the range.
const workRateHz = 6000

// signal is a recording made ready: real part the sound with its level and
// tilt evened out, imaginary part the envelope of its upper band.
type signal struct {
	rateHz float64
	z      []complex128
}

// prepare folds s to mono and brings it to about workRateHz.
func prepare(s *samples.Sound) signal {
	x := monoOf(s)
	factor := max(1, s.RateHz/workRateHz)
	rate := float64(s.RateHz) / float64(factor)
	if factor > 1 {
		x = decimate(x, factor)
	}
	flatten(x)
	env := envelope(x, rate)
	z := make([]complex128, len(x))
	gx, ge := 1/math.Max(samples.RMS(x), 1e-30), 1/math.Max(samples.RMS(env), 1e-30)
	for i := range z {
		z[i] = complex(x[i]*gx, env[i]*ge)
	}
	return signal{rate, z}
}

// monoOf returns the mean of the channels, or the loudest channel where the
// mean has lost more than 10 dB against it (reversed polarity). Values that
// are not finite count as 0.
func monoOf(s *samples.Sound) []float64 {
	mono := append([]float64(nil), s.Mono()...)
	if len(s.Chans) > 1 {
		loudest, level := 0, 0.0
		for c, ch := range s.Chans {
			if r := samples.RMS(ch); r > level {
				loudest, level = c, r
			}
		}
		if samples.RMS(mono) < level*samples.DBAmplitude(-10) {
			copy(mono, s.Chans[loudest])
		}
	}
	for i, v := range mono {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			mono[i] = 0
		}
	}
	return mono
}

// decimate low-passes x (Blackman window, 16 output samples long, cut-off at
// 0.43 of the new rate) and keeps every factor-th value. Output k lies at
// input factor·k: the filter is symmetric and adds no delay.
func decimate(x []float64, factor int) []float64 {
	half := 8 * factor
	h := make([]float64, 2*half+1)
	for i := range h {
		u := 0.86 * float64(i-half) / float64(factor)
		h[i] = 1
		if u != 0 {
			h[i] = math.Sin(math.Pi*u) / (math.Pi * u)
		}
	}
	window.Blackman(h)
	var sum float64
	for _, v := range h {
		sum += v
	}
	for i := range h {
		h[i] /= sum
	}
	out := make([]float64, (len(x)+factor-1)/factor)
	for k := range out {
		from := k*factor - half
		lo, hi := max(0, -from), min(len(h), len(x)-from)
		var acc float64
		xs := x[from+lo : from+hi]
		for i, v := range h[lo:hi] {
			acc += v * xs[i]
		}
		out[k] = acc
	}
	return out
}

// flatten takes out the mean and tilts x up by 6 dB an octave above about
// 50 Hz: exhausts fall steeply, and rumble must not rule. In place.
func flatten(x []float64) {
	if len(x) == 0 {
		return
	}
	var mean float64
	for _, v := range x {
		mean += v
	}
	mean /= float64(len(x))
	prev := x[0] - mean
	for i, v := range x {
		v -= mean
		x[i] = v - 0.95*prev
		prev = v
	}
}

// envelope returns |x| smoothed over about 0.5 ms, less its mean over about
// 0.1 s.
func envelope(x []float64, rateHz float64) []float64 {
	abs := make([]float64, len(x))
	for i, v := range x {
		abs[i] = math.Abs(v)
	}
	fine := boxMean(abs, max(1, int(0.0002*rateHz)))
	slow := boxMean(abs, max(1, int(0.12*rateHz)))
	for i := range fine {
		fine[i] -= slow[i]
	}
	return fine
}

// boxMean returns the running mean over 2·half+1 values, fewer at the ends.
func boxMean(x []float64, half int) []float64 {
	sums := make([]float64, len(x)+1)
	for i, v := range x {
		sums[i+1] = sums[i] + v
	}
	out := make([]float64, len(x))
	for i := range out {
		lo, hi := max(0, i-half), min(len(x), i+half+1)
		out[i] = (sums[hi] - sums[lo]) / float64(hi-lo)
	}
	return out
}
