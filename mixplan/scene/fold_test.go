package scene

import (
	"math"
	"testing"

	"tachbench/samples"
)

// Gains of ITU-R BS.775 at equal power, by speaker.
func TestSpeakerGains(t *testing.T) {
	h := math.Sqrt(0.5)
	for _, c := range []struct {
		channels int
		mask     uint32
		want     [][2]float64
	}{
		{3, 0, [][2]float64{{1, 0}, {0, 1}, {h, h}}},
		{4, 0, [][2]float64{{1, 0}, {0, 1}, {h, 0}, {0, h}}},
		{7, 0, [][2]float64{{1, 0}, {0, 1}, {h, h}, {0, 0}, {0.5, 0.5}, {h, 0}, {0, h}}},
		{3, frontLeft | frontRight | backCentre, [][2]float64{{1, 0}, {0, 1}, {0.5, 0.5}}},
		{3, frontLeft, [][2]float64{{1, 0}, {0, 1}, {h, h}}}, // a mask that does not fit is none
		{9, 0, [][2]float64{{h, 0}, {0, h}, {h, 0}, {0, h}, {h, 0}, {0, h}, {h, 0}, {0, h}, {h, 0}}},
	} {
		for ch, want := range c.want {
			s := samples.NewSound(8000, c.channels, 1)
			s.Mask = c.mask
			s.Chans[ch][0] = 1
			if out := Fold(s); math.Abs(out.Chans[0][0]-want[0]) > 1e-15 || math.Abs(out.Chans[1][0]-want[1]) > 1e-15 {
				t.Errorf("%d channels, mask %#x, channel %d: %g %g, want %v", c.channels, c.mask, ch, out.Chans[0][0], out.Chans[1][0], want)
			}
		}
	}
}
