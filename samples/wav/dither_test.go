package wav

import (
	"encoding/binary"
	"math"
	"testing"

	"tachbench/samples"
)

// ditherErrors writes v in steps of 16 bit and returns error by channel, in steps.
func ditherErrors(t *testing.T, channels, frames int, v func(i int) float64, seed uint64) [][]float64 {
	s := samples.NewSound(48000, channels, frames)
	for c := range s.Chans {
		for i := range s.Chans[c] {
			s.Chans[c][i] = v(i) / 32768
		}
	}
	spec := SpecOf(s, 16)
	spec.Seed, spec.Mask = seed, 0
	b := encode(t, s, spec)
	b = b[len(b)-channels*frames*2:]
	out := make([][]float64, channels)
	for c := range out {
		out[c] = make([]float64, frames)
		for i := range out[c] {
			out[c][i] = float64(int16(binary.LittleEndian.Uint16(b[2*(i*channels+c):]))) - v(i)
		}
	}
	return out
}

func moments(x []float64) (mean, rms float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	return mean, samples.RMS(x)
}

// Rounding plus triangular dither of ±1 step: error power 1/12 + 1/6 = 1/4 of
// a squared step whatever the signal, so 0.500 ± 0.002 rms and mean 0 ± 0.003
// over a million samples (derived from the uniform laws). Truncation instead
// of rounding would show as a mean of -0.5, undithered rounding as 0.289 rms.
func TestTPDFStatistics(t *testing.T) {
	const n = 1_000_000
	for name, v := range map[string]func(int) float64{
		"silence":        func(int) float64 { return 0 },
		"half a step":    func(int) float64 { return 0.5 },
		"a third":        func(int) float64 { return 1.0 / 3 },
		"sine 100 steps": func(i int) float64 { return 100 * math.Sin(float64(i)*0.0123) },
		"negative":       func(int) float64 { return -1234.56 },
	} {
		mean, rms := moments(ditherErrors(t, 1, n, v, 1)[0])
		if math.Abs(mean) > 0.003 || math.Abs(rms-0.5) > 0.002 {
			t.Errorf("%s: mean %.5f, rms %.5f steps", name, mean, rms)
		}
	}
}

func TestDitherIsIndependentByChannelAndTime(t *testing.T) {
	const n = 200_000
	e := ditherErrors(t, 3, n, func(int) float64 { return 0 }, 9)
	other := ditherErrors(t, 1, n, func(int) float64 { return 0 }, 10)
	corr := func(a, b []float64) float64 {
		var s float64
		for i := range b {
			s += a[i] * b[i]
		}
		return s / float64(len(b)) / samples.RMS(a) / samples.RMS(b)
	}
	const limit = 5.0 / 447 // five standard deviations of white noise, 1/sqrt(n)
	for name, c := range map[string]float64{
		"0 and 1": corr(e[0], e[1]), "0 and 2": corr(e[0], e[2]), "1 and 2": corr(e[1], e[2]),
		"lag 1": corr(e[0], e[0][1:]), "seeds": corr(e[0], other[0]),
	} {
		if math.Abs(c) > limit {
			t.Errorf("correlation of %s: %.4f", name, c)
		}
	}
}

// The 24-bit path has the same law, 0.5 steps of 2^-23.
func TestTPDFAt24Bit(t *testing.T) {
	s := samples.NewSound(48000, 1, 500_000)
	for i := range s.Chans[0] {
		s.Chans[0][i] = 0.3 * math.Sin(float64(i)*0.01)
	}
	got := decode(t, encode(t, s, SpecOf(s, 24)))
	diff := make([]float64, s.Frames())
	for i := range diff {
		diff[i] = (got.Chans[0][i] - s.Chans[0][i]) * (1 << 23)
	}
	if mean, rms := moments(diff); math.Abs(mean) > 0.004 || math.Abs(rms-0.5) > 0.003 {
		t.Errorf("mean %.5f, rms %.5f steps", mean, rms)
	}
}
