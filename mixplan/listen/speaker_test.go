package listen

import (
	"math"
	"math/rand/v2"
	"testing"

	"tachbench/mixplan/ear"
	"tachbench/samples/sheet"
)

func responses() map[string]*ear.Chain {
	out := map[string]*ear.Chain{}
	cut := 150.0
	for name, l := range map[string]*sheet.Listening{
		"flat":    {},
		"low cut": {SpeakerLowCutHz: &cut},
		"measured": {SpeakerResponse: []sheet.ResponsePoint{{Hz: 50, DB: -30}, {Hz: 80, DB: -12}, {Hz: 120, DB: 0}, {Hz: 200, DB: 3}, {Hz: 1000, DB: 0},
			{Hz: 3000, DB: 4}, {Hz: 8000, DB: -3}, {Hz: 16000, DB: -20}}},
	} {
		l.LevelAtEarDB, l.NoiseDBA, l.NoiseShape = 80, 80, ear.Pink
		c, err := ear.New(l)
		if err != nil {
			panic(err)
		}
		out[name] = c
	}
	return out
}

// The fast way gives what ear.Cabinet gives, without delay, in blocks of any
// size, and again after a reset.
func TestSpeakerIsTheCabinet(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for name, chain := range responses() {
		for _, rateHz := range []int{8000, 48000} {
			want := make([]float64, 20000)
			for i := range want {
				want[i] = rng.NormFloat64()
			}
			want[700] = math.NaN()
			s := newSpeaker(chain, rateHz)
			for range 2 {
				got := append([]float64(nil), want...)
				for at, size := 0, 1; at < len(got); size = size*3%511 + 1 {
					to := min(len(got), at+size)
					s.process(got[at:to])
					at = to
				}
				ideal := append([]float64(nil), want...)
				c := chain.NewCabinet(rateHz)
				c.Process(ideal)
				for i := range got {
					if !(math.Abs(got[i]-ideal[i]) < 1e-11) {
						if s.head == nil && math.IsNaN(ideal[i]) && math.IsNaN(got[i]) {
							continue // nothing to filter
						}
						t.Fatalf("%s at %d Hz, frame %d: %g, want %g", name, rateHz, i, got[i], ideal[i])
					}
				}
				s.reset()
			}
		}
	}
}

func BenchmarkSpeaker(b *testing.B) {
	for name, chain := range responses() {
		b.Run(name, func(b *testing.B) {
			s := newSpeaker(chain, 48000)
			x := make([]float64, 480)
			for i := range x {
				x[i] = float64(i%7) * 1e-3
			}
			b.ReportAllocs()
			for b.Loop() {
				s.process(x)
			}
			b.ReportMetric(float64(b.N)*0.01/b.Elapsed().Seconds(), "x-realtime")
		})
	}
}
