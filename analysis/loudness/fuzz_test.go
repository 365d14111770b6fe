package loudness

import (
	"encoding/binary"
	"math"
	"testing"
)

// Whatever the samples are, a reading that claims to be a number is finite.
func FuzzMeter(f *testing.F) {
	f.Add(uint32(48000), uint8(2), uint32(3), []byte("\x00\x00\x80\x3f\x00\x00\x80\xbf"), uint16(9600))
	f.Add(uint32(8363), uint8(1), uint32(0), []byte("\x00\x00\xc0\x7f\x00\x00\x80\x7f"), uint16(3500))
	f.Add(uint32(192000), uint8(6), uint32(0x3F), []byte("\xff\xff\x7f\x7f\x01\x00\x00\x00"), uint16(65535))
	f.Fuzz(func(t *testing.T, rate uint32, channels uint8, mask uint32, data []byte, frames uint16) {
		m, err := New(int(rate), int(channels), mask)
		if err != nil {
			return
		}
		block := make([][]float64, channels)
		for c := range block {
			block[c] = make([]float64, int(frames)/int(channels))
			for i := range block[c] {
				if len(data) >= 4 {
					k := (i + 3*c) % (len(data) / 4) * 4
					block[c][i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(data[k:])))
				}
			}
		}
		for range 3 {
			m.Write(block)
			r := m.Result()
			for _, v := range []Reading{r.IntegratedLUFS, r.RangeLU, r.MomentaryMaxLUFS, r.ShortTermMaxLUFS} {
				if v.OK() && (math.IsNaN(v.Value) || math.IsInf(v.Value, 0)) || !v.OK() && !math.IsNaN(v.Value) {
					t.Fatalf("%+v", r)
				}
			}
			for _, s := range append(m.ShortTermLUFS(), m.MomentaryLUFS()...) {
				if math.IsNaN(s) || math.IsInf(s, 1) {
					t.Fatalf("series holds %g", s)
				}
			}
		}
	})
}
