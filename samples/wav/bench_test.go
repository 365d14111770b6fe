package wav

import (
	"bytes"
	"testing"

	"tachbench/samples"
)

// 48 kHz stereo in blocks of 1024; figures per channel sample and as a
// multiple of real time.
func BenchmarkRead(b *testing.B) {
	const frames = 1 << 20
	for _, depth := range []int{16, 24, 32} {
		s := integers(48000, 2, frames, min(depth, 24))
		file := encode(b, s, SpecOf(s, depth))
		dst := [][]float64{make([]float64, 1024), make([]float64, 1024)}
		b.Run(map[int]string{16: "int16", 24: "int24", 32: "float32"}[depth], func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				r, err := Open(bytes.NewReader(file), int64(len(file)))
				if err != nil {
					b.Fatal(err)
				}
				for {
					if _, err := r.Read(dst); err != nil {
						break
					}
				}
			}
			report(b, frames)
		})
	}
}

func BenchmarkWrite(b *testing.B) {
	const frames = 1 << 20
	s := integers(48000, 2, frames, 24)
	for _, c := range []struct {
		name   string
		depth  int
		dither Dither
	}{{"int16-tpdf", 16, DitherTPDF}, {"int16-none", 16, DitherNone}, {"int24-tpdf", 24, DitherTPDF}, {"float32", 32, DitherNone}} {
		spec := SpecOf(s, c.depth)
		spec.Dither = c.dither
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			m := memFile{b: make([]byte, 0, 10<<20)}
			for b.Loop() {
				m.pos, m.b = 0, m.b[:0]
				w, err := NewWriter(&m, spec)
				if err != nil {
					b.Fatal(err)
				}
				for from := 0; from < frames; from += 1024 {
					if err := w.Write([][]float64{s.Chans[0][from : from+1024], s.Chans[1][from : from+1024]}); err != nil {
						b.Fatal(err)
					}
				}
				if err := w.Close(); err != nil {
					b.Fatal(err)
				}
			}
			report(b, frames)
		})
	}
}

func report(b *testing.B, frames int) {
	perS := float64(frames) * float64(b.N) / b.Elapsed().Seconds()
	b.ReportMetric(perS/48000, "x-realtime")
	b.ReportMetric(2*perS/1e6, "Msamples/s")
}

var _ samples.Reader = (*Reader)(nil)
