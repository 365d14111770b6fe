package fidelity

import (
	"math"
	"testing"

	"tachbench/samples/tone"
)

func sourcesOf(t testing.TB, seed uint64, rpms ...float64) (out []*Take) {
	t.Helper()
	for i, rpm := range rpms {
		out = append(out, take(t, engine(sled, Hold(rpm), 4, seed+uint64(i)), sled))
	}
	return out
}

func TestNoClicksInTheSources(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a second goroutine")
	}
	src := sourcesOf(t, 1, 1600, 2500, 4000, 8000)
	ref := NewClickReference(src)
	for _, s := range src {
		r := ref.Clicks(s)
		t.Logf("%.0f RPM: %d events, share %.3f, over tail %d expected %.1f", s.RPM(), len(r.Events), r.WorstShare, r.OverTail, r.Expected)
		if len(r.Events) != 0 {
			t.Errorf("%.0f RPM: %+v", s.RPM(), r.Events)
		}
	}
}

// A recording of the same engine that the reference has not heard must pass
// too, at any level.
func TestNoClicksInAnotherTake(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a second goroutine")
	}
	ref := NewClickReference(sourcesOf(t, 7, 1600, 2500, 4000, 8000))
	for _, gain := range []float64{0.05, 1, 4} {
		r := engine(sled, Sweep(1600, 8000, 8), 8, 1)
		for i := range r.Sound.Chans[0] {
			r.Sound.Chans[0][i] *= gain
		}
		got := ref.Clicks(FromRender(r.Sound, Sweep(1600, 8000, 8), sled))
		t.Logf("gain %g: %d events, share %.3f", gain, len(got.Events), got.WorstShare)
		if len(got.Events) != 0 {
			t.Errorf("gain %g: %+v", gain, got.Events)
		}
	}
}

// Mutation check of the engine reference, section 4: an inserted one-sample
// step of 0.1 FS must be caught, wherever in the cycle it falls, and only
// it. An offset that stays leaves about half the error of a single sample,
// and this engine's own pulses leave 0.08, so its limit lies near 12σ, 0.09;
// with three σ of hiss on top only offsets from about 0.115 are certain. So
// 0.15 must be caught always; how many of 0.1 are is logged.
func TestInsertedStepIsCaught(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a second goroutine")
	}
	ref := NewClickReference(sourcesOf(t, 1, 1600, 4000, 8000))
	const tries = 10
	for _, rpm := range []float64{1600, 4000, 8000} {
		clean := engine(sled, Hold(rpm), 0.7, 50).Sound.Chans[0]
		for _, c := range []struct {
			height float64
			stays  bool
			least  int
		}{{0.1, false, tries}, {0.15, true, tries}, {0.1, true, 0}} {
			caught, stray := 0, 0
			for k := range tries {
				x := append([]float64(nil), clean...)
				at := 15000 + 193*k
				for i := at; i < len(x) && (c.stays || i == at); i++ {
					x[i] += c.height
				}
				hit := false
				for _, e := range ref.Clicks(FromRender(mono(x), Hold(rpm), sled)).Events {
					if math.Abs(e.AtS-float64(at)/48000) < 0.001 {
						hit = true
					} else {
						stray++
					}
				}
				if hit {
					caught++
				}
			}
			t.Logf("%.0f RPM, %g FS, stays %v: %d of %d caught, %d stray", rpm, c.height, c.stays, caught, tries, stray)
			if caught < c.least || stray != 0 {
				t.Errorf("%.0f RPM, %g FS, stays %v: %d of %d caught, %d stray", rpm, c.height, c.stays, caught, tries, stray)
			}
		}
	}
}

// Burg's method on a known all-pole process leaves the white noise that
// drives it: its variance is the error's.
func TestBurgRecoversDrivingNoise(t *testing.T) {
	e := tone.White(48000, 1, 0.5, 0.01, 3).Chans[0]
	x := make([]float64, len(e))
	for i := range x {
		x[i] = e[i]
		if i >= 2 {
			x[i] += 1.8*x[i-1] - 0.95*x[i-2]
		}
	}
	f, b := make([]float64, len(x)), make([]float64, len(x))
	burg(x, f, b, arOrder)
	var diff float64
	for i := 100; i < len(x); i++ {
		diff += (f[i] - e[i]) * (f[i] - e[i])
	}
	diff = math.Sqrt(diff / float64(len(x)))
	below(t, "error against the driving noise", diff/0.01, 0.06)
	// For normal noise MAD/0.6745 is the standard deviation.
	near(t, "robust deviation", robust(f[arOrder:], make([]float64, len(x))), 0.01, 0.0003)
}

func TestClicksWithoutMaterial(t *testing.T) {
	ref := NewClickReference(nil)
	for _, n := range []int{0, 1, 1000, 48000} {
		if r := ref.Clicks(FromRender(mono(make([]float64, n)), Hold(3000), sled)); len(r.Events) != 0 {
			t.Errorf("%d silent frames: %+v", n, r)
		}
	}
}

func BenchmarkClicks(b *testing.B) {
	src := sourcesOf(b, 1, 3000)
	ref := NewClickReference(src)
	b.ReportAllocs()
	for b.Loop() {
		ref.Clicks(src[0])
	}
	b.ReportMetric(src[0].DurationS()*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
