package loudness

import (
	"math"
	"math/cmplx"
	"testing"
)

// The numbered rows are those of the check-value table of the levels
// reference (BS.1770-5 read, or derived in double precision).

func TestCoefficients(t *testing.T) {
	w48, w44, w96 := newWeighting(48000), newWeighting(44100), newWeighting(96000)
	for _, c := range []struct {
		name           string
		got, want, tol float64
	}{
		{"row 1 b0", w48.b0, 1.53512485958697, 1e-13}, // BS.1770-5 Table 1
		{"row 1 b1", w48.b1, -2.69169618940638, 1e-13},
		{"row 1 b2", w48.b2, 1.19839281085285, 1e-13},
		{"row 1 a1", w48.a1, -1.69065929318241, 1e-13},
		{"row 1 a2", w48.a2, 0.73248077421585, 1e-13},
		{"row 2 a1", w48.c1, -1.99004745483398, 1e-13}, // BS.1770-5 Table 2
		{"row 2 a2", w48.c2, 0.99007225036621, 1e-13},
		{"row 3 b0", w44.b0, 1.5308412300503478, 1e-12},
		{"row 3 a1", w44.a1, -1.6636551132560204, 1e-12},
		{"row 4 a1", w96.c1, -1.9950175447247156, 1e-12},
		{"row 4 a2", w96.c2, 0.99502375904092333, 1e-12},
	} {
		if math.Abs(c.got-c.want) > c.tol {
			t.Errorf("%s = %.16g, want %.16g", c.name, c.got, c.want)
		}
	}
}

// gainDB is the transfer function of both stages at f.
func (w *weighting) gainDB(rateHz, f float64) float64 {
	z := cmplx.Exp(complex(0, -2*math.Pi*f/rateHz))
	r := func(v float64) complex128 { return complex(v, 0) }
	shelf := (r(w.b0) + r(w.b1)*z + r(w.b2)*z*z) / (1 + r(w.a1)*z + r(w.a2)*z*z)
	cut := (1 - 2*z + z*z) / (1 + r(w.c1)*z + r(w.c2)*z*z)
	return 20 * math.Log10(cmplx.Abs(shelf*cut))
}

func TestWeightingGain(t *testing.T) {
	w := newWeighting(48000)
	for _, c := range []struct{ hz, want, tol float64 }{
		{997, 0.691014, 1e-5}, // row 5
		{100, -1.1335, 1e-3},  // row 6
		{10000, 4.0419, 1e-3},
		{20, -13.2754, 1e-3}, {50, -3.9341, 1e-3}, {2000, 3.0713, 1e-3}, // section 1.3
	} {
		if got := w.gainDB(48000, c.hz); math.Abs(got-c.want) > c.tol {
			t.Errorf("K gain at %g Hz = %.6f dB, want %.6f", c.hz, got, c.want)
		}
	}
}

func TestImpulse(t *testing.T) {
	w := newWeighting(48000)
	var s state
	want := []float64{1.5351248595869702, -0.11160147885084637, -0.1031118890465837} // row 7
	last := 0.0
	for i := range 48000 {
		x := []float64{0}
		if i == 0 {
			x[0] = 1
		}
		w.one(&s, x)
		if i < len(want) {
			if got := math.Sqrt(s.energy - last); math.Abs(got-math.Abs(want[i])) > 1e-12 {
				t.Errorf("row 7, output %d: magnitude %.16g, want %.16g", i, got, math.Abs(want[i]))
			}
			last = s.energy
		}
	}
	if math.Abs(s.energy-2.4149354737) > 1e-9 {
		t.Errorf("row 8: sum of squares %.10f, want 2.4149354737", s.energy)
	}
}

func TestSingleToneReadings(t *testing.T) {
	tone := func(rate int, hz, s, db float64) []float64 { return pieces(rate, hz, piece{s, db}) }
	full := tone(48000, 997, 10, 0)
	none := make([]float64, len(full))
	integrated := func(rate int, mask uint32, ch ...[]float64) Reading {
		return measure(t, rate, mask, ch).Result().IntegratedLUFS
	}
	wantNear(t, "row 9: left only", integrated(48000, 3, full, none), -3.01, 0.01)
	wantNear(t, "row 9: a mono file counts once", integrated(48000, 4, full), -3.0103, 0.01)
	wantNear(t, "row 10: both", integrated(48000, 3, full, full), 0, 0.01)
	wantNear(t, "row 11: Ls only", integrated(48000, 0x3F, none, none, none, none, full, none), -1.518, 0.01)
	wantAbsent(t, "row 12: LFE only", integrated(48000, 0x3F, none, none, none, full, none, none), ReasonTooQuiet)
	wantNear(t, "row 13", integrated(48000, 3, stereo(tone(48000, 1000, 20, -18))...), -17.9933, 0.001)
	wantNear(t, "row 14", integrated(48000, 3, stereo(tone(48000, 100, 10, -20))...), -21.8248, 0.002)
	wantNear(t, "row 15", integrated(48000, 3, stereo(tone(48000, 10000, 10, -20))...), -16.6491, 0.002)
	wantNear(t, "row 47: -69", integrated(48000, 3, stereo(tone(48000, 997, 10, -69))...), -69, 0.002)
	wantAbsent(t, "row 47: -71", integrated(48000, 3, stereo(tone(48000, 997, 10, -71))...), ReasonTooQuiet)
	wantAbsent(t, "row 48: silence", integrated(48000, 3, none, none), ReasonTooQuiet)
	wantAbsent(t, "row 49: 0.39 s", integrated(48000, 3, stereo(tone(48000, 997, 0.39, 0))...), ReasonTooShortForBlock)
	wantNear(t, "row 50: unscaled numerator", integrated(44100, 3, stereo(tone(44100, 997, 10, 0))...), 0.0028, 0.0005)
	wantNear(t, "row 51: unscaled numerator", integrated(96000, 3, stereo(tone(96000, 1000, 20, -23))...), -23.0106, 0.0005)
}

func TestGating(t *testing.T) {
	for _, c := range []struct {
		name string
		list []piece
		want float64
	}{
		{"row 44: edge blocks pass the gate", []piece{{10, -20}, silence(10)}, -20.0656},
		{"row 45: quiet half kept", []piece{{10, -20}, {10, -29}}, -22.4953},
		{"row 46: quiet half gated", []piece{{10, -20}, {10, -40}}, -20.0650},
	} {
		r := measure(t, 48000, 3, stereo(pieces(48000, 997, c.list...))).Result()
		wantNear(t, c.name, r.IntegratedLUFS, c.want, 0.002)
	}
}

// BS.1770-5 Annex 3 Table 4 and the WAVE positions (levels reference, 1.4 and
// 5.6).
func TestWeightsByMask(t *testing.T) {
	for _, c := range []struct {
		name string
		n    int
		mask uint32
		want []float64
	}{
		{"mono", 1, 0x4, []float64{1}},
		{"mono unknown", 1, 0, []float64{1}},
		{"stereo", 2, 0x3, []float64{1, 1}},
		{"3 unknown", 3, 0, []float64{1, 1, 1}},
		{"quad", 4, 0x33, []float64{1, 1, 1.41, 1.41}},
		{"4 unknown", 4, 0, []float64{1, 1, 1.41, 1.41}},
		{"2.1", 3, 0xB, []float64{1, 1, 0}},
		{"3.1", 4, 0xF, []float64{1, 1, 1, 0}},
		{"5.0 side", 5, 0x607, []float64{1, 1, 1, 1.41, 1.41}},
		{"5.1 back", 6, 0x3F, []float64{1, 1, 1, 0, 1.41, 1.41}},
		{"5.1 side", 6, 0x60F, []float64{1, 1, 1, 0, 1.41, 1.41}},
		{"6.1", 7, 0x70F, []float64{1, 1, 1, 0, 1, 1.41, 1.41}},
		{"7.1", 8, 0x63F, []float64{1, 1, 1, 0, 1, 1, 1.41, 1.41}},
		{"8 unknown", 8, 0, []float64{1, 1, 1, 0, 1, 1, 1.41, 1.41}},
		{"5.1.4 heights", 10, 0x2D60F, []float64{1, 1, 1, 0, 1.41, 1.41, 1, 1, 1, 1}},
		{"mask of another count", 2, 0x3F, []float64{1, 1}},
		{"9 unknown", 9, 0, []float64{1, 1, 1, 1, 1, 1, 1, 1, 1}},
	} {
		got := Weights(c.n, c.mask)
		for i, w := range c.want {
			if len(got) != len(c.want) || got[i] != w {
				t.Errorf("%s: %v, want %v", c.name, got, c.want)
				break
			}
		}
	}
}
