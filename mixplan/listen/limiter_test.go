package listen

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tachbench/analysis/peak"
	"tachbench/samples"
)

// abuse is what a limiter must survive.
func abuse(rateHz int) map[string][]float64 {
	n := rateHz
	rng := rand.New(rand.NewPCG(1, 2))
	out := map[string][]float64{}
	fill := func(name string, f func(i int) float64) {
		x := make([]float64, n)
		for i := range x {
			x[i] = f(i)
		}
		out[name] = append(x, make([]float64, 3000)...) // ends in silence, so that all of it comes out
	}
	fill("square", func(i int) float64 { return math.Copysign(1, math.Sin(2*math.Pi*431*float64(i)/float64(rateHz))) })
	fill("square in bursts", func(i int) float64 {
		if i/(rateHz/7)%2 == 0 {
			return 0
		}
		return math.Copysign(1, math.Sin(2*math.Pi*1031*float64(i)/float64(rateHz)))
	})
	fill("white", func(int) float64 { return 4 * rng.NormFloat64() })
	fill("white in bursts", func(i int) float64 {
		if i/997%3 > 0 {
			return 0.01 * rng.NormFloat64()
		}
		return 3 * rng.NormFloat64()
	})
	fill("two-valued", func(int) float64 { return float64(1 - 2*rng.IntN(2)) })
	fill("clipped", func(i int) float64 {
		return max(-1, min(1, 9*math.Sin(2*math.Pi*83*float64(i)/float64(rateHz))*math.Sin(2*math.Pi*3*float64(i)/float64(rateHz))))
	})
	fill("impulses", func(i int) float64 {
		if rng.IntN(300) == 0 {
			return 30 * rng.NormFloat64()
		}
		return 0
	})
	fill("quarter of the rate", func(i int) float64 { return 1.4 * math.Sin(math.Pi/2*float64(i)+math.Pi/4) })
	fill("near Nyquist", func(i int) float64 { return math.Sin(math.Pi*0.97*float64(i)) * float64(i) / float64(n) * 5 })
	fill("not a number", func(i int) float64 {
		switch i % 501 {
		case 3:
			return math.NaN()
		case 7:
			return math.Inf(1)
		case 9:
			return 1e300
		case 11:
			return samples.MaxMagnitude
		}
		return rng.NormFloat64()
	})
	return out
}

// The ceiling holds for the true peak as BS.1770 measures it.
func TestCeilingHolds(t *testing.T) {
	for rateHz, ceiling := range map[int]float64{8000: -1, 48000: -12, 96000: -1} {
		for name, x := range abuse(rateHz) {
			{
				l := newLimiter(rateHz, ceiling)
				left, right := slices.Clone(x), slices.Clone(x)
				for i := range right {
					right[i] *= 0.7
				}
				for at := 0; at < len(x); at += chunkFrames {
					to := min(len(x), at+chunkFrames)
					l.process(left[at:to], right[at:to])
				}
				m, err := peak.New(rateHz, 2)
				if err != nil {
					t.Fatal(err)
				}
				m.Write([][]float64{left, right})
				r := m.Result()
				tp, _ := r.TruePeakDBTP()
				t.Logf("%d Hz, %s at %g: %.3f dBTP", rateHz, name, ceiling, tp)
				if tp > ceiling+0.1 {
					t.Errorf("%d Hz, %s at %g: %.3f dBTP", rateHz, name, ceiling, tp)
				}
			}
		}
	}
}

// What is under the ceiling passes unchanged, to the bit, delay frames late;
// blocks do not matter; both channels are turned down alike.
func TestLimiterLeavesAlone(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	x := make([]float64, 48000)
	for i := range x {
		x[i] = 0.02 * rng.NormFloat64()
	}
	l := newLimiter(48000, -12)
	a, b := slices.Clone(x), slices.Clone(x)
	for at := 0; at < len(a); at += 100 {
		l.process(a[at:min(len(a), at+100)], b[at:min(len(a), at+100)])
	}
	if !slices.Equal(a[l.delay:], x[:len(x)-l.delay]) || !slices.Equal(a, b) {
		t.Error("a soft sound was changed")
	}
	if got := float64(l.delay) / 48000; got > 0.002 {
		t.Errorf("%.4f s late", got)
	}
	loud := abuse(48000)["white in bursts"]
	var first []float64
	for _, size := range []int{512, 1, 77} {
		l := newLimiter(48000, -12)
		a, b := slices.Clone(loud), slices.Clone(loud)
		for i := range b {
			b[i] *= -0.5
		}
		for at := 0; at < len(a); at += size {
			to := min(len(a), at+size)
			l.process(a[at:to], b[at:to])
		}
		for i := range a {
			if b[i] != -0.5*a[i] {
				t.Fatal("channels are turned down differently")
			}
		}
		if first == nil {
			first = a
		} else if !slices.Equal(a, first) {
			t.Errorf("blocks of %d: another sound", size)
		}
	}
	// It comes back: half a second of silence after, a soft sound is whole.
	l = newLimiter(48000, -12)
	y := append(slices.Clone(loud[:4800]), make([]float64, 120000)...)
	for i := 96000; i < len(y); i++ {
		y[i] = x[i-96000]
	}
	z := slices.Clone(y)
	for at := 0; at < len(z); at += chunkFrames {
		to := min(len(z), at+chunkFrames)
		l.process(z[at:to], make([]float64, to-at))
	}
	if !slices.Equal(z[96000+l.delay:], y[96000:len(y)-l.delay]) {
		t.Error("it does not come back")
	}
}

func BenchmarkLimiter(b *testing.B) {
	for _, name := range []string{"white", "soft"} {
		b.Run(name, func(b *testing.B) {
			x := abuse(48000)["white"]
			if name == "soft" {
				for i := range x {
					x[i] *= 0.001
				}
			}
			l := newLimiter(48000, -12)
			left, right := make([]float64, chunkFrames), make([]float64, chunkFrames)
			b.ReportAllocs()
			frames := 0
			for b.Loop() {
				at := frames % (len(x) - chunkFrames)
				copy(left, x[at:])
				copy(right, x[at:])
				l.process(left, right)
				frames += chunkFrames
			}
			b.ReportMetric(float64(frames)/48000/b.Elapsed().Seconds(), "x-realtime")
		})
	}
}

func TestClipsAreRuns(t *testing.T) {
	var k clips
	k.write(0, []float64{0.5, 1.2, 1.1, 1, -1.5, -2})
	k.write(0, []float64{-2, 0, 0, 2})
	k.write(1, []float64{-1.001, 1, -1})
	if k.runs != 4 { // 1.2, 1.1; -1.5 on over the block's end; 2; -1.001
		t.Errorf("%d runs", k.runs)
	}
}
