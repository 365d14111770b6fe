package loudness

import (
	"math"
	"slices"
	"testing"
)

// EBU Tech 3342 v4, Table 1, cases 1-4: 1000 Hz, stereo in phase, 20 s a
// segment, tolerance ±1 LU; a signal repeated whole keeps its value. The exact
// figures are rows 38-43 of the levels reference (tolerance 0.05). Cases 5 and
// 6 are programmes that cannot be synthesised.
func TestTech3342Cases(t *testing.T) {
	for _, c := range []struct {
		name   string
		levels []float64
		want   float64
	}{
		{"case 1", []float64{-20, -30}, 10},
		{"case 2", []float64{-20, -15}, 5},
		{"case 3", []float64{-40, -20}, 20},
		{"case 4", []float64{-50, -35, -20, -35, -50}, 15},
	} {
		var list []piece
		for _, db := range c.levels {
			list = append(list, piece{20, db})
		}
		for _, times := range []int{1, 3} {
			// 8 kHz keeps the long ones cheap; 48 kHz is the document's rate.
			for _, rate := range []int{48000, 8000} {
				if times == 3 && rate == 48000 && c.name != "case 1" {
					continue
				}
				r := measure(t, rate, 0x3, stereo(pieces(rate, 1000, repeat(times, list...)...))).Result()
				wantNear(t, c.name, r.RangeLU, c.want, 1)
				wantNear(t, c.name, r.RangeLU, c.want, 0.05)
				if want := 20*len(c.levels)*times >= 60; r.RangeSettled != want {
					t.Errorf("%s x %d: settled = %v", c.name, times, r.RangeSettled)
				}
			}
		}
	}
}

func TestRangeOfSteadyToneIsZero(t *testing.T) {
	r := measure(t, 48000, 0x3, stereo(pieces(48000, 1000, piece{20, -23}))).Result()
	wantNear(t, "row 43", r.RangeLU, 0, 1e-6)
}

// The percentile rule by hand: 1-based index round((n-1)·p/100 + 1), p = 10
// and 95 (Tech 3342 section 5). With 11 values that is the 2nd and, 9.5
// rounding up, the 11th; with 5, the 1st and the 5th.
func TestRangePercentilesByHand(t *testing.T) {
	s := []float64{-20, -21, -22, -23, -24, -25, -26, -27, -28, -29, -30}
	before := slices.Clone(s)
	if got, ok := RangeLU(s); !ok || got != 9 {
		t.Errorf("11 values: %g %v, want 9", got, ok)
	}
	if !slices.Equal(s, before) {
		t.Error("the values were reordered")
	}
	if got, ok := RangeLU([]float64{-20, -21, -22, -23, -25}); !ok || got != 5 {
		t.Errorf("5 values: %g %v, want 5", got, ok)
	}
	// -70 itself passes the absolute gate (">=", unlike BS.1770).
	if got, ok := RangeLU([]float64{-70, -70, math.Inf(-1)}); !ok || got != 0 {
		t.Errorf("at the gate: %g %v, want 0", got, ok)
	}
	if _, ok := RangeLU([]float64{-70.001, math.Inf(-1)}); ok {
		t.Error("values under -70 LUFS gave a range")
	}
}
