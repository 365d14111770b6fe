package fidelity

import (
	"math"
	"math/rand/v2"
	"testing"

	"tachbench/samples/tone"
)

// loopCycles plays n cycles of a source over and over, or in an order given
// by next.
func loopCycles(src *Take, n int, next func(i int) int, seconds float64) (*Take, []GrainUse) {
	rpm := src.RPM()
	step := src.Layout.CycleHz(rpm) / float64(src.RateHz)
	at := src.places(1, 0)
	x := make([]float64, int(seconds*float64(src.RateHz)))
	var log []GrainUse
	id, before := 0, -1
	for i := range x {
		c, u := math.Modf(float64(i) * step)
		if int(c) != before {
			before = int(c)
			id = next(before) % n
			log = append(log, GrainUse{id, float64(i) / float64(src.RateHz)})
		}
		x[i] = readAt(src.X, at[id]+u*(at[id+1]-at[id]), 1)
	}
	return FromRender(mono(x), Hold(rpm), src.Layout), log
}

func TestRepetition(t *testing.T) {
	src, other := halves(t, 3500, 5, 3)
	s := Repetition(src, math.NaN())
	o := Repetition(other, s.ResidualDB)
	t.Logf("source %.3f at %.2f s, residual %.1f dB, twins %.3f; another take %.3f", s.Max, s.AtLagS, s.ResidualDB, s.TwinShare, o.Max)
	// Residuals of independent cycles have no correlation; the largest of
	// 170 lags is what chance leaves. The test engine's cycles differ in
	// little but two levels and two angles, so chance leaves more than in
	// noise.
	below(t, "source", s.Max, 0.15)
	below(t, "another take", o.Max-s.Max, 0.05)
	below(t, "twins", s.TwinShare, 0.05)

	noise := Repetition(FromRender(tone.White(48000, 1, 5, 0.1, 1), Hold(3500), sled), math.NaN())
	near(t, "white noise", noise.Max, 0, 0.05)

	frozen, err := FrozenLoop(src, Hold(3500), 5)
	if err != nil {
		t.Fatal(err)
	}
	f := Repetition(FromRender(frozen, Hold(3500), sled), s.ResidualDB)
	near(t, "frozen loop", f.Max, 1, 0.01)
	if n := Repetition(FromRender(frozen, Hold(3500), sled), math.NaN()); !(n.Max > 0.9) {
		t.Errorf("frozen loop without a known source: %+v", n)
	}

	for _, n := range []int{4, 12, 40} {
		loop, log := loopCycles(src, n, func(i int) int { return i }, 5)
		r := Repetition(loop, s.ResidualDB)
		g := CheckGrains(log)
		t.Logf("loop of %d: %.3f at %d cycles, twins %.2f", n, r.Max, r.AtCycles, r.TwinShare)
		if !(r.Max > s.Max+0.5) || r.AtCycles%n != 0 {
			t.Errorf("loop of %d cycles: %+v", n, r)
		}
		if g.PeriodicShare != 1 || g.PeriodicLag != n {
			t.Errorf("log of a loop of %d: %+v", n, g)
		}
	}
	rng := rand.New(rand.NewPCG(1, 2))
	random, log := loopCycles(src, 200, func(int) int { return rng.IntN(200) }, 5)
	r := Repetition(random, s.ResidualDB)
	t.Logf("random among 200: %.3f; %+v", r.Max, CheckGrains(log))
	below(t, "random among 200", r.Max-s.Max, 0.10)
	below(t, "random log", CheckGrains(log).PeriodicShare, 0.1)
}

// Mutation check of the engine reference, section 4: a repeated grain must
// fail.
func TestRepeatedGrainFails(t *testing.T) {
	good := []GrainUse{}
	for i := range 100 {
		good = append(good, GrainUse{(i * 37) % 101, float64(i) * 0.02})
	}
	if g := CheckGrains(good); g.Immediate != 0 || g.TooSoon != 0 || g.Uses != 100 || g.Distinct != 100 || !math.IsNaN(g.ShortestS) {
		t.Errorf("a log without reuse: %+v", g)
	}
	for _, c := range []struct{ back, immediate, soon int }{{1, 1, 1}, {2, 0, 1}, {3, 0, 1}, {4, 0, 0}} {
		bad := append([]GrainUse(nil), good...)
		bad[50].ID = bad[50-c.back].ID
		g := CheckGrains(bad)
		if g.Immediate != c.immediate || g.TooSoon != c.soon || g.ShortestGrains != c.back {
			t.Errorf("same grain %d back: %+v", c.back, g)
		}
		near(t, "gap", g.ShortestS, 0.02*float64(c.back), 1e-9)
	}
	// Three long grains that last more than a second together: 1 s rules.
	slow := []GrainUse{{1, 0}, {2, 0.6}, {1, 1.2}}
	if g := CheckGrains(slow); g.TooSoon != 0 {
		t.Errorf("1.2 s later is not too soon: %+v", g)
	}
	if g := CheckGrains(nil); g.Uses != 0 || !math.IsNaN(g.PeriodicShare) {
		t.Errorf("empty log: %+v", g)
	}
}

func TestRepetitionWithoutMaterial(t *testing.T) {
	for _, n := range []int{0, 1, 1000, 96000} {
		if r := Repetition(FromRender(mono(make([]float64, n)), Hold(3500), sled), math.NaN()); !math.IsNaN(r.Max) {
			t.Errorf("%d silent frames: %+v", n, r)
		}
	}
}

func BenchmarkRepetition(b *testing.B) {
	s := take(b, engine(sled, Hold(8000), 10, 1), sled)
	for b.Loop() {
		Repetition(s, math.NaN())
	}
	b.ReportMetric(s.DurationS()*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
