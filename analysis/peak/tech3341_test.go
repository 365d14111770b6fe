package peak

import (
	"math"
	"testing"
)

// EBU Tech 3341 v4, Table 1, cases 15-23: tolerance +0.2 / -0.4 dB. The exact
// figures are the readings of the 49-tap interpolator in section 2.3 of the
// levels reference (synthetic signals), to their printed three places.
func TestTech3341TruePeak(t *testing.T) {
	tone := func(amplitude, cycles, phase float64) []float64 {
		return fade(sine(48000, amplitude, cycles, phase), 480)
	}
	for _, c := range []struct {
		name         string
		x            []float64
		want         float64
		exact        float64
		exactSamples float64
	}{
		{"case 15 (row 27)", tone(0.5, 1./4, 0), -6, -6.021, -6.021},
		{"case 16 (row 28)", tone(0.5, 1./4, 45), -6, -6.053, -9.031},
		{"case 17 (row 29)", tone(0.5, 1./6, 60), -6, -6.005, -7.270},
		{"case 18 (row 30)", tone(0.5, 1./8, 67.5), -6, -6.018, -6.708},
		{"case 19 (row 31)", tone(1.41, 1./4, 45), 3, 2.952, -0.026},
		{"case 20 (row 32)", burst(0), 0, -0.130, -0.130},
		{"case 21 (row 32)", burst(1), 0, -0.083, -0.460},
		{"case 22 (row 32)", burst(2), 0, -0.181, -2.500},
		{"case 23 (row 32)", burst(3), 0, -0.083, -0.460},
	} {
		r := measure(t, 48000, false, c.x, c.x)
		got, _ := r.TruePeakDBTP()
		if got > c.want+0.2 || got < c.want-0.4 {
			t.Errorf("%s: %.3f dBTP, want %g +0.2/-0.4", c.name, got, c.want)
		}
		if math.Abs(got-c.exact) > 0.002 {
			t.Errorf("%s: %.4f dBTP, want %.3f with this interpolator", c.name, got, c.exact)
		}
		if s, _ := r.SamplePeakDBFS(); math.Abs(s-c.exactSamples) > 0.002 {
			t.Errorf("%s: sample peak %.4f dBFS, want %.3f", c.name, s, c.exactSamples)
		}
	}
}

// Reading error on steady sines over 72 phases: column "49-tap sinc x Hann" of
// section 1.5 of the levels reference.
func TestErrorOnSteadySines(t *testing.T) {
	for _, c := range []struct{ cycles, low, high float64 }{
		{0.05, -0.008, 0}, {0.10, -0.029, 0}, {1. / 8, -0.033, 0}, {1. / 6, -0.033, 0.015}, {0.20, -0.106, 0.002},
		{0.24, -0.017, 0}, {0.25, -0.166, 0}, {0.30, -0.012, 0.044}, {0.40, -0.436, 0}, {0.45, -0.108, 0},
	} {
		low, high := 9.0, -9.0
		for k := range 72 {
			e := truePeakDB(t, fade(sine(1200, 1, c.cycles, 5*float64(k)), 300))
			low, high = min(low, e), max(high, e)
		}
		if math.Abs(low-c.low) > 0.003 || math.Abs(high-c.high) > 0.003 {
			t.Errorf("f/fs %.4f: %+.3f..%+.3f dB, want %+.3f..%+.3f", c.cycles, low, high, c.low, c.high)
		}
	}
}

// Rows 35 and 37: what an ideal interpolator would read, and that ours is as
// near as its formula says.
func TestAgainstTheIdeal(t *testing.T) {
	x := make([]float64, 40)
	x[20], x[21] = 1, 1
	window := 0.5 * (1 + math.Cos(math.Pi/12)) // Hann, half a sample off centre
	r := measure(t, 48000, false, x)
	if got := r.Channels[0].TruePeak; math.Abs(got-4/math.Pi*window) > 1e-12 {
		t.Errorf("two adjacent ones: %.9f, want 4/pi·%.6f", got, window)
	}
	if at := r.Channels[0].TruePeakFrame; at != 20.5 {
		t.Errorf("two adjacent ones peak at %g, want 20.5", at)
	}
	if got := -20 * math.Log10(math.Cos(math.Pi*0.45/factor)); math.Abs(got-0.554) > 0.001 {
		t.Errorf("row 37: under-read %.4f dB, want 0.554", got)
	}
	if got := -20 * math.Log10(math.Cos(math.Pi*0.5/factor)); math.Abs(got-0.688) > 0.001 {
		t.Errorf("row 37: under-read %.4f dB, want 0.688", got)
	}
}

// recommended is phases 0 and 1 of the example filter of BS.1770-5 Annex 2 in
// units of 1/8192; 3 and 2 are these reversed.
var recommended = [2][12]float64{
	{14, 90, -161, 272, -487, 1125, 7964, -838, 390, -218, 122, -68},
	{-239, 240, -424, 730, -1364, 3810, 6388, -1641, 832, -477, 271, -155},
}

// byRecommendation is the largest value of the four phases of that filter.
func byRecommendation(x []float64) float64 {
	var top float64
	for n := range len(x) + 11 {
		for p := range 4 {
			var y float64
			for k := range 12 {
				c := recommended[p%2][k]
				if p >= 2 {
					c = recommended[1-p%2][11-k]
				}
				if i := n - k; i >= 0 && i < len(x) {
					y += c / 8192 * x[i]
				}
			}
			top = max(top, math.Abs(y))
		}
	}
	return top
}

// Rows 33, 34 and 36 are about the example filter of the Recommendation. They
// check the second opinion used here: on band-limited sound (up to 0.4 of the
// rate) both filters agree within the sum of their errors in section 1.5.
func TestSecondOpinionOfTheRecommendation(t *testing.T) {
	for p, want := range []float64{8205, 7971} {
		sum := 0.0
		for _, c := range recommended[p] {
			sum += c
		}
		if sum != want {
			t.Errorf("row 36: sum of phase %d is %g, want %g", p, sum, want)
		}
	}
	if got := 20 * math.Log10(byRecommendation([]float64{1})); math.Abs(got+0.245) > 0.001 {
		t.Errorf("row 33: %.4f dB, want -0.245", got)
	}
	if got := byRecommendation([]float64{1, 1}); math.Abs(got-1.244873046875) > 1e-12 {
		t.Errorf("row 34: %.12f, want 1.244873046875", got)
	}
	for k := range 40 {
		x := fade(sine(2000, 0.8, 0.01+0.0089*float64(k), 9*float64(k)), 400)
		second := 20 * math.Log10(max(byRecommendation(x), measure(t, 48000, false, x).Channels[0].SamplePeak))
		if got := truePeakDB(t, x); math.Abs(got-second) > 0.5 {
			t.Errorf("sine %d: %.3f dBTP, the filter of the Recommendation says %.3f", k, got, second)
		}
	}
}
