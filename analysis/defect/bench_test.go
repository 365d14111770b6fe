package defect_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"tachbench/analysis/defect"
	"tachbench/samples"
)

// programme makes seconds of stereo that is neither silent nor simple: two
// voices of harmonics with pauses, over a little noise.
func programme(rateHz int, seconds float64) *samples.Sound {
	s := samples.NewSound(rateHz, 2, int(seconds*float64(rateHz)))
	rng := rand.New(rand.NewPCG(7, 9))
	for i := range s.Chans[0] {
		t := float64(i) / float64(rateHz)
		gate := 0.5 + 0.5*math.Tanh(20*math.Sin(2*math.Pi*0.7*t))
		v, w := 0.0, 0.0
		for k := 1; k <= 6; k++ {
			v += math.Sin(2*math.Pi*131*float64(k)*t+float64(k)) / float64(k)
			w += math.Sin(2*math.Pi*98*float64(k)*t+2*float64(k)) / float64(k)
		}
		s.Chans[0][i] = 0.2*gate*v + 1e-3*rng.NormFloat64()
		s.Chans[1][i] = 0.2*gate*w + 1e-3*rng.NormFloat64()
	}
	return s
}

func BenchmarkScan(b *testing.B) {
	s := programme(48000, 20)
	loop := samples.Info{Format: "wav", RateHz: 48000, Channels: 2, BitDepth: 24, Frames: int64(s.Frames()),
		Loops: []samples.Loop{{Start: 1000, End: int64(s.Frames()) - 1000}}}
	plain := loop
	plain.Loops = nil
	for _, c := range []struct {
		name string
		info samples.Info
		kind defect.Kind
	}{{"effect", plain, defect.Effect}, {"callout", plain, defect.Callout}, {"engine-loop", loop, defect.Engine}} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			block := make([][]float64, 2)
			for b.Loop() {
				scan := defect.NewScan(c.info, defect.Options{Kind: c.kind})
				for i := 0; i < s.Frames(); i += 4096 {
					for ch := range block {
						block[ch] = s.Chans[ch][i:min(i+4096, s.Frames())]
					}
					scan.Write(block)
				}
				scan.Finish()
			}
			b.ReportMetric(s.DurationS()*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
		})
	}
}

func TestWriteAllocatesNothing(t *testing.T) {
	s := programme(48000, 2)
	info := samples.Info{Format: "wav", RateHz: 48000, Channels: 2, BitDepth: 24, Frames: -1,
		Loops: []samples.Loop{{Start: 1000, End: 1 << 40}}}
	scan := defect.NewScan(info, defect.Options{Kind: defect.Callout})
	scan.Write(s.Chans)
	if n := testing.AllocsPerRun(3, func() { scan.Write(s.Chans) }); n != 0 {
		t.Errorf("Write allocates %v times", n)
	}
}
