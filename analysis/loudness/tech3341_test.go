package loudness

import (
	"fmt"
	"math"
	"testing"
)

// EBU Tech 3341 v4, Table 1, cases 1-6 and 9-14, made from the text of the
// document: 1000 Hz sine, 48 kHz, tolerance ±0.1. The exact figures are the
// derived four-place values of the levels reference, section 2.4 (rows 16-26),
// for 48 kHz and for 44.1 kHz with the unscaled numerator; tolerance 0.001
// (0.002 where rows 22 and 24 say so). Cases 7 and 8 are programmes that cannot
// be synthesised; 15-23 are true peak and live in analysis/peak.

var rates = []int{48000, 44100}

func TestTech3341SteadyTones(t *testing.T) {
	for _, c := range []struct {
		name  string
		list  []piece
		want  float64
		exact [2]float64
		all   bool // M and S too
	}{
		{"case 1", []piece{{20, -23}}, -23, [2]float64{-22.9933, -22.9905}, true},
		{"case 2", []piece{{20, -33}}, -33, [2]float64{-32.9933, -32.9905}, true},
		{"case 3", []piece{{10, -36}, {60, -23}, {10, -36}}, -23, [2]float64{-23.0139, -23.0111}, false},
		{"case 4", []piece{{10, -72}, {10, -36}, {60, -23}, {10, -36}, {10, -72}}, -23, [2]float64{-23.0139, -23.0111}, false},
		{"case 5", []piece{{20, -26}, {20.1, -20}, {20, -26}}, -23, [2]float64{-22.9787, -22.9759}, false},
	} {
		for i, rate := range rates {
			m := measure(t, rate, 0x3, stereo(pieces(rate, 1000, c.list...)))
			r := m.Result()
			name := fmt.Sprintf("%s at %d Hz: ", c.name, rate)
			wantNear(t, name+"I", r.IntegratedLUFS, c.want, 0.1)
			wantNear(t, name+"I", r.IntegratedLUFS, c.exact[i], 0.001)
			if c.all {
				wantNear(t, name+"max M", r.MomentaryMaxLUFS, c.exact[i], 0.001)
				wantNear(t, name+"max S", r.ShortTermMaxLUFS, c.exact[i], 0.001)
				for k, s := range m.ShortTermLUFS() {
					wantNear(t, fmt.Sprintf("%sS[%d]", name, k), Reading{Value: s}, c.want, 0.1)
				}
				for k, s := range m.MomentaryLUFS() {
					wantNear(t, fmt.Sprintf("%sM[%d]", name, k), Reading{Value: s}, c.want, 0.1)
				}
			}
		}
	}
}

func TestTech3341Case6Surround(t *testing.T) {
	exact := [2]float64{-23.0163, -23.0135}
	for i, rate := range rates {
		front := pieces(rate, 1000, piece{20, -28})
		centre := pieces(rate, 1000, piece{20, -24})
		back := pieces(rate, 1000, piece{20, -30})
		lfe := pieces(rate, 1000, piece{20, 0}) // must not count
		for _, c := range []struct {
			name  string
			mask  uint32
			block [][]float64
		}{
			{"5.0 with a back pair", 0x37, [][]float64{front, front, centre, back, back}},
			{"5.0 with a side pair", 0x607, [][]float64{front, front, centre, back, back}},
			{"5.0 unknown", 0, [][]float64{front, front, centre, back, back}},
			{"5.1", 0x3F, [][]float64{front, front, centre, lfe, back, back}},
			{"5.1 unknown", 0, [][]float64{front, front, centre, lfe, back, back}},
		} {
			r := measure(t, rate, c.mask, c.block).Result()
			wantNear(t, "case 6, "+c.name, r.IntegratedLUFS, -23, 0.1)
			wantNear(t, "case 6, "+c.name, r.IntegratedLUFS, exact[i], 0.001)
		}
	}
}

func TestTech3341Case9ShortTermIsConstant(t *testing.T) {
	exact := [2]float64{-22.9863, -22.9835}
	for i, rate := range rates {
		m := measure(t, rate, 0x3, stereo(pieces(rate, 1000, repeat(5, piece{1.34, -20}, piece{1.66, -30})...)))
		series := m.ShortTermLUFS() // starts with the first whole window, at 3 s
		if len(series) != 121 {
			t.Fatalf("%d values, want 121 in 15 s", len(series))
		}
		for k, s := range series {
			wantNear(t, fmt.Sprintf("S[%d]", k), Reading{Value: s}, -23, 0.1)
			wantNear(t, fmt.Sprintf("S[%d]", k), Reading{Value: s}, exact[i], 0.002)
		}
	}
}

func TestTech3341Case10ShortTermMaximum(t *testing.T) {
	exact := [2]float64{-22.9933, -22.9906} // step of at most 50 ms
	for j, rate := range rates {
		for i := range 20 {
			x := pieces(rate, 1000, silence(float64(i)*0.15), piece{3, -23}, silence(1))
			r := measure(t, rate, 0x3, stereo(x)).Result()
			wantNear(t, fmt.Sprint("case 10, i = ", i), r.ShortTermMaxLUFS, -23, 0.1)
			wantNear(t, fmt.Sprint("case 10, i = ", i), r.ShortTermMaxLUFS, exact[j], 0.001)
			if at := float64(i) * 0.15; math.Abs(r.ShortTermMaxAtS-at) > 0.0101 {
				t.Errorf("case 10, i = %d: loudest at %g s, want %g", i, r.ShortTermMaxAtS, at)
			}
		}
	}
}

func TestTech3341Case11ShortTermLive(t *testing.T) {
	m, err := New(48000, 2, 0x3)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 20 {
		m.Write(stereo(pieces(48000, 1000, silence(float64(i)*0.15), piece{3, -38 + float64(i)}, silence(3-float64(i)*0.15))))
		// Each tone is louder than all before it, so the maximum so far is its own.
		wantNear(t, fmt.Sprint("case 11, i = ", i), m.Result().ShortTermMaxLUFS, -38+float64(i), 0.1)
	}
}

func TestTech3341Case12MomentaryIsConstant(t *testing.T) {
	exact := [2]float64{-22.9604, -22.9577}
	for i, rate := range rates {
		m := measure(t, rate, 0x3, stereo(pieces(rate, 1000, repeat(25, piece{0.18, -20}, piece{0.22, -30})...)))
		for k, s := range m.MomentaryLUFS() {
			if k < 6 { // window ends at 1 s or later from here on
				continue
			}
			wantNear(t, fmt.Sprintf("M[%d]", k), Reading{Value: s}, -23, 0.1)
			wantNear(t, fmt.Sprintf("M[%d]", k), Reading{Value: s}, exact[i], 0.002)
		}
	}
}

func TestTech3341Case13MomentaryMaximum(t *testing.T) {
	exact := [2]float64{-22.9936, -22.9908} // step 10 or 20 ms
	for j, rate := range rates {
		for i := range 20 {
			x := pieces(rate, 1000, silence(float64(i)*0.02), piece{0.4, -23}, silence(1))
			r := measure(t, rate, 0x3, stereo(x)).Result()
			wantNear(t, fmt.Sprint("case 13, i = ", i), r.MomentaryMaxLUFS, -23, 0.1)
			wantNear(t, fmt.Sprint("case 13, i = ", i), r.MomentaryMaxLUFS, exact[j], 0.001)
		}
	}
}

func TestTech3341Case14MomentaryLive(t *testing.T) {
	m, err := New(48000, 2, 0x3)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 20 {
		target := -38 + float64(i)
		m.Write(stereo(pieces(48000, 1000, silence(float64(i)*0.02), piece{0.4, target}, silence(0.4-float64(i)*0.02))))
		r := m.Result()
		wantNear(t, fmt.Sprint("case 14, i = ", i), r.MomentaryMaxLUFS, target, 0.1)
		wantNear(t, fmt.Sprint("case 14, i = ", i), r.MomentaryMaxLUFS, target+0.006, 0.002)
	}
}
