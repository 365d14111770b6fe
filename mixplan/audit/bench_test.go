package audit

import (
	"context"
	"fmt"
	"testing"

	"tachbench/samples/tone"
)

// BenchmarkMeasure is all there is for one sound on one core: levels,
// findings, spectrum, chart.
func BenchmarkMeasure(b *testing.B) {
	for _, channels := range []int{1, 2, 6} {
		b.Run(fmt.Sprintf("channels=%d", channels), func(b *testing.B) {
			const seconds = 30
			path := put(b, b.TempDir(), "x.wav", tone.White(48000, channels, seconds, 0.1, 1))
			b.ReportAllocs()
			for b.Loop() {
				s, err := measure(context.Background(), entry{path: path}, true, func(float64) {})
				if err != nil || s.Info.Channels != channels {
					b.Fatal(err)
				}
			}
			b.ReportMetric(seconds*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
		})
	}
}

// BenchmarkShort is a package of many short sounds, over all cores.
func BenchmarkShort(b *testing.B) {
	const files = 200
	dir := b.TempDir()
	for i := range files {
		put(b, dir, fmt.Sprintf("%04d.wav", i), tone.White(48000, 1, 1, 0.1, uint64(i)))
	}
	for b.Loop() {
		if r, err := Run(context.Background(), Inputs{Paths: []string{dir}}, Options{}); err != nil || len(r.Sounds) != files {
			b.Fatal(err)
		}
	}
	b.ReportMetric(files*float64(b.N)/b.Elapsed().Seconds(), "files/s")
}
