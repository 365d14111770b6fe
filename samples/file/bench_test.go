package file

import (
	"bytes"
	"testing"
)

// Opening and decoding a short file of each kind, as a multiple of real time.
func BenchmarkDecode(b *testing.B) {
	for _, name := range []string{"tone.flac", "tone.ogg", "tone.mp3"} {
		data := fixture(b, name)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			frames := 0
			dst := [][]float64{make([]float64, 1024), make([]float64, 1024)}
			for b.Loop() {
				r, err := OpenReader("x", bytes.NewReader(data), int64(len(data)))
				if err != nil {
					b.Fatal(err)
				}
				for {
					n, err := r.Read(dst)
					if err != nil {
						break
					}
					frames += n
				}
			}
			b.ReportMetric(float64(frames)/44100/b.Elapsed().Seconds(), "x-realtime")
		})
	}
}
