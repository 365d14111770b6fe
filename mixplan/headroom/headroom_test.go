package headroom

import (
	"math"
	"testing"

	"tachbench/mixplan"
	"tachbench/mixplan/scene"
	"tachbench/samples"

	"math/rand/v2"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.Abs(got-want) > tol {
		t.Errorf("%s: %g, not %g", what, got, want)
	}
}

// Check values 46 and 47 of the intelligibility sheet, and its section 6;
// Poisson intervals: Garwood's table as reprinted in textbooks, from memory.
func TestCheckValues(t *testing.T) {
	near(t, "4 sigma", Over(4), 6.334e-5, 1e-8)
	near(t, "3 sigma", Over(3), 2.70e-3, 1e-5)
	near(t, "5 of 8 voices", AtLeast(8, 5, 0.3), 0.05797, 1e-5)
	near(t, "0 of 8 voices", AtLeast(8, 0, 0.3), 1, 1e-12)
	for _, c := range []struct {
		n      int
		lo, hi float64
	}{{0, 0, 3.689}, {1, 0.0253, 5.572}, {10, 4.795, 18.39}} {
		lo, hi := Interval(c.n)
		near(t, "low end", lo, c.lo, 0.001)
		near(t, "high end", hi, c.hi, 0.005)
	}
}

func sine(rate, n int, amplitude float64) *samples.Sound {
	s := samples.NewSound(rate, 1, n)
	for i := range s.Chans[0] {
		s.Chans[0][i] = amplitude * math.Sin(2*math.Pi*1000*float64(i)/float64(rate))
	}
	return s
}

// Counting by hand: peaks 0.5 everywhere, 2.0 in blocks that make three runs,
// two of them within a quarter of a second.
func TestAtByHand(t *testing.T) {
	r := &Result{Minutes: 2, blocks: 6000, Peaks: make([]float32, 12000)}
	for i := range r.Peaks {
		r.Peaks[i] = 0.5
	}
	for _, i := range []int{100, 101, 110, 5999, 6000} {
		r.Peaks[i] = 2
	}
	o := r.At(0)
	if o.Count != 3 { // 100 to 110; 5999; 6000, which is another minute
		t.Errorf("%d overruns", o.Count)
	}
	near(t, "an hour", o.PerHour, 90, 1e-9)
	if g := r.BusGainDB(0); g != -6.1 {
		t.Errorf("bus gain %g: 2.0 is 6.02 dB over", g)
	}
	if o := r.At(6.1); o.BlocksPercent != 100 {
		t.Errorf("0.5 and 6.1 dB: %g %%", o.BlocksPercent)
	}
}

// Two sounds of known peak that are always there add up; a duck of one by
// 6.02 dB takes half of it away.
func TestMixedByHand(t *testing.T) {
	const rate, n = 8000, 8000
	bed := func(db float64) habit {
		return habit{category: "music", clips: []*clip{trimmed(sine(rate, 8*100, 0.5), []scene.Span{{FromS: 0, ToS: 0.1}}, db, true)}}
	}
	r := rand.New(rand.NewPCG(1, 1))
	peaks := mixed(draw(r, []habit{bed(0)}, rate, n, nil), 2, n, 80, 1)
	if len(peaks) != 100 {
		t.Fatalf("%d blocks", len(peaks))
	}
	near(t, "alone", float64(peaks[50]), 0.5, 1e-3)
	plan := &mixplan.Plan{Ducks: []mixplan.Duck{{Under: "callout", Category: "music", DepthDB: 6.0206, AttackMS: 50, HoldMS: 100, ReleaseMS: 300}}}
	speaking := habit{category: "callout", queue: true, perMin: 1e5, clips: []*clip{trimmed(sine(rate, n, 0.25), []scene.Span{{FromS: 0, ToS: 1}}, 0, false)}}
	ducked := mixed(draw(r, []habit{bed(0), speaking}, rate, n, plan), 1, n, 80, 1)
	if p := float64(ducked[90]); p < 0.2 || p > 0.5+1e-3 {
		t.Errorf("ducked peak %g: between 0.25 - 0.25 and 0.25 + 0.25", p)
	}
}

// At a rate that leaves no pause callouts still come one at a time, and no
// more than Voices effects sound at once.
func TestPolyphony(t *testing.T) {
	const rate, n = 8000, 60 * 8000
	c := trimmed(sine(rate, rate, 0.1), nil, 0, false)
	r := rand.New(rand.NewPCG(2, 1))
	calls := habit{perMin: 300, queue: true}.arrivals(r, []*clip{c}, rate, n)
	for i := 1; i < len(calls); i++ {
		if calls[i].at < calls[i-1].at+c.frames() {
			t.Fatal("two callouts at once")
		}
	}
	if len(calls) < 30 {
		t.Errorf("%d callouts in a minute", len(calls))
	}
	busy := make([]int, n+rate)
	for _, v := range (habit{perMin: 3000}).arrivals(r, []*clip{c}, rate, n) {
		for i := range c.frames() {
			busy[v.at+i]++
		}
	}
	most := 0
	for _, b := range busy {
		most = max(most, b)
	}
	if most != Voices {
		t.Errorf("%d voices at once, not %d", most, Voices)
	}
}

func BenchmarkMixed(b *testing.B) {
	const rate, n = 48000, 10 * 48000
	plan := &mixplan.Plan{Ducks: []mixplan.Duck{{Under: "callout", Category: "music", DepthDB: 6, AttackMS: 50, HoldMS: 100, ReleaseMS: 300}}}
	habits := []habit{
		{category: "music", clips: []*clip{trimmed(sine(rate, 9*rate, 0.2), nil, 0, true)}},
		{category: "callout", queue: true, perMin: 6, clips: []*clip{trimmed(sine(rate, rate, 0.2), []scene.Span{{FromS: 0, ToS: 1}}, 0, false)}},
		{category: "effect", perMin: 40, clips: []*clip{trimmed(sine(rate, rate/2, 0.2), nil, 0, false)}},
	}
	r := rand.New(rand.NewPCG(1, 1))
	b.ReportAllocs()
	for b.Loop() {
		mixed(draw(r, habits, rate, n, plan), 2, n, 480, 1)
	}
	b.ReportMetric(10*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
