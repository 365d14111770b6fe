package duck

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"tachbench/mixplan"
)

func music(under string, depth, attack, hold, release, ahead float64) mixplan.Duck {
	return mixplan.Duck{Under: under, Category: "music", DepthDB: depth, AttackMS: attack, HoldMS: hold, ReleaseMS: release, LookaheadMS: ahead}
}

// course runs rules over speech and returns the attenuation of every frame,
// asked for in blocks of the given sizes, in turn.
func course(rate int, rules []mixplan.Duck, speech []Speech, frames int, blocks ...int) (broad []float64, dips [][]float64, c *Course) {
	c = New(rate, "music", rules)
	for _, s := range speech {
		c.Speak(s.Category, s.FromS, s.ToS)
	}
	broad = make([]float64, frames)
	for range c.Bands() {
		dips = append(dips, make([]float64, frames))
	}
	for from, k := 0, 0; from < frames; k++ {
		to := min(frames, from+blocks[k%len(blocks)])
		part := make([][]float64, len(dips))
		for i := range dips {
			part[i] = dips[i][from:to]
		}
		c.Next(broad[from:to], part...)
		from = to
	}
	return broad, dips, c
}

// closedForm is the law of the package comment written down a second time,
// for one rule: straight lines from one edge of a window to the next, no
// adding up from frame to frame.
func closedForm(rate int, d mixplan.Duck, speech []Speech, frames int) []float64 {
	want := make([]bool, frames)
	for _, s := range speech {
		if s.Category != d.Under {
			continue
		}
		from := math.Round((s.FromS - d.LookaheadMS/1000) * float64(rate))
		to := math.Round((s.ToS + d.HoldMS/1000) * float64(rate))
		for n := max(0, from); n < min(to, float64(frames)); n++ {
			want[int(n)] = true
		}
	}
	out := make([]float64, frames)
	start, edge := 0.0, -1
	for n := range out {
		if n > 0 && want[n] != want[n-1] {
			start, edge = out[n-1], n-1
		}
		t := float64(n-edge) / float64(rate)
		if want[n] {
			out[n] = math.Min(d.DepthDB, start+d.DepthDB/(d.AttackMS/1000)*t)
		} else {
			out[n] = math.Max(0, start-d.DepthDB/(d.ReleaseMS/1000)*t)
		}
	}
	return out
}

func randomSpeech(rng *rand.Rand, category string, n int, overS float64) []Speech {
	var out []Speech
	for range n {
		from := rng.Float64() * overS
		out = append(out, Speech{category, from, from + 0.02 + 0.8*rng.Float64()})
	}
	return out
}

// The times of the plan, read off the curve: this is what the words promise.
func TestTimesAreThoseOfThePlan(t *testing.T) {
	const rate = 1000 // a frame is a millisecond
	a, _, c := course(rate, []mixplan.Duck{music("callout", 9, 60, 250, 500, 80)}, []Speech{{"callout", 0.5, 1.2}}, 3000, 3000)
	for _, k := range []struct {
		frame int
		want  float64
	}{
		{0, 0}, {419, 0}, {420, 0.15}, {449, 4.5}, {479, 9}, // 420 = 500-80; full after 60 frames
		{1449, 9}, {1450, 9 - 0.018}, {1699, 4.5}, {1949, 0}, {1950, 0}, {2999, 0}, // 1450 = 1200+250
	} {
		if math.Abs(a[k.frame]-k.want) > 1e-9 {
			t.Errorf("frame %d: %.4f dB, want %.4f", k.frame, a[k.frame], k.want)
		}
	}
	// One frame more than 1949-420 may hold what rounding left of the ramp.
	if k := c.Cost(); k.Times != 1 || k.DeepestDB != 9 || k.Frames-(1949-420) > 1 || k.Frames < 1949-420 {
		t.Errorf("cost %+v", k)
	}
}

func TestLawAgreesWithItsClosedForm(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range 60 {
		rate := []int{1000, 8000, 44100}[i%3]
		d := music("callout", 18*rng.Float64(), 90+200*rng.Float64(), 400*rng.Float64(), 300+900*rng.Float64(), 200*rng.Float64())
		speech := randomSpeech(rng, "callout", rng.IntN(7), 4)
		frames := 5 * rate
		got, _, _ := course(rate, []mixplan.Duck{d}, speech, frames, frames)
		for n, want := range closedForm(rate, d, speech, frames) {
			if math.Abs(got[n]-want) > 1e-8 {
				t.Fatalf("case %d, frame %d of %d Hz: %.10f dB, want %.10f", i, n, rate, got[n], want)
			}
		}
	}
}

// Continuous, never steeper than the plan says, within 0 and the depth, moving
// one way while it attacks and releases, back at 0 in the end.
func TestAttenuationHasNoJumps(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const rate = 8000
	for i := range 60 {
		d := music("callout", 12, 60+rng.Float64()*100, 300*rng.Float64(), 250+500*rng.Float64(), 100*rng.Float64())
		speech := randomSpeech(rng, "callout", 1+rng.IntN(6), 3)
		a, _, _ := course(rate, []mixplan.Duck{d}, speech, 8*rate, 777)
		down, up := 12/(d.AttackMS/1000*rate), 12/(d.ReleaseMS/1000*rate)
		last := 0.0
		for n, v := range a {
			if v < 0 || v > 12 {
				t.Fatalf("frame %d: %g dB", n, v)
			}
			if step := v - last; step > down*(1+1e-9) || step < -up*(1+1e-9) {
				t.Fatalf("case %d, frame %d: a step of %g dB", i, n, step)
			}
			last = v
		}
		if last != 0 {
			t.Errorf("case %d ends at %g dB, not exactly 0", i, last)
		}
	}
}

func TestBlockSizeDoesNotMatter(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	dip := music("effect", 6, 50, 100, 300, 20)
	dip.Dip = &mixplan.Dip{LowHz: 400, HighHz: 3000}
	rules := []mixplan.Duck{music("callout", 9, 60, 250, 500, 80), music("voice", 3, 60, 0, 200, 0), dip}
	speech := slices.Concat(randomSpeech(rng, "callout", 3, 2), randomSpeech(rng, "voice", 3, 2), randomSpeech(rng, "effect", 3, 2))
	const rate, frames = 8000, 3 * 8000
	a, da, ca := course(rate, rules, speech, frames, frames)
	sound := make([]float64, frames)
	for i := range sound {
		sound[i] = rng.Float64()*2 - 1
	}
	apply := func(blocks ...int) [][]float64 {
		_, _, c := course(rate, rules, speech, 0, 1)
		out := [][]float64{slices.Clone(sound), slices.Clone(sound)}
		for from, k := 0, 0; from < frames; k++ {
			to := min(frames, from+blocks[k%len(blocks)])
			c.Apply([][]float64{out[0][from:to], out[1][from:to]})
			from = to
		}
		return out
	}
	whole := apply(frames)
	if !slices.Equal(whole[0], whole[1]) {
		t.Error("two equal channels came out different")
	}
	for _, blocks := range [][]int{{1}, {64}, {513, 1, 7}, {1000}} {
		b, db, cb := course(rate, rules, speech, frames, blocks...)
		if !slices.Equal(a, b) || !slices.Equal(da[0], db[0]) || ca.Cost() != cb.Cost() {
			t.Errorf("blocks of %v: another envelope", blocks)
		}
		if got := apply(blocks...); !slices.Equal(got[0], whole[0]) {
			t.Errorf("blocks of %v: another sound", blocks)
		}
	}
}

// Speech that becomes known only when it is due gives what was known all
// along, if the look-ahead is 0; and never a jump.
func TestSpeechKnownLate(t *testing.T) {
	const rate = 1000
	d := music("callout", 9, 90, 100, 300, 0)
	known, _, _ := course(rate, []mixplan.Duck{d}, []Speech{{"callout", 0.5, 0.9}, {"callout", 1.1, 1.3}}, 3000, 3000)
	live := New(rate, "music", []mixplan.Duck{d})
	got := make([]float64, 3000)
	for n := range got {
		switch n {
		case 500:
			live.Speak("callout", 0.5, 0.9)
		case 1100:
			live.Speak("callout", 1.1, 1.3)
		}
		live.Next(got[n : n+1])
	}
	if !slices.Equal(known, got) {
		t.Error("live differs from known")
	}
}

func TestWindowsStayApartAndSorted(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for range 200 {
		var w windows
		in := make([]bool, 200)
		for range rng.IntN(30) {
			from := rng.Int64N(180)
			n := Window{from, from + rng.Int64N(20)}
			w = w.add(n)
			for i := n.From; i < n.To; i++ {
				in[i] = true
			}
		}
		got := make([]bool, 200)
		for i, e := range w {
			if e.To <= e.From || i > 0 && e.From <= w[i-1].To {
				t.Fatalf("windows %v", w)
			}
			for n := e.From; n < e.To; n++ {
				got[n] = true
			}
		}
		if !slices.Equal(in, got) {
			t.Fatalf("windows %v cover the wrong frames", w)
		}
	}
}

// The dip as heard: a sine through it, against the closed form, and the
// promises at the edges and in the middle.
func TestDipResponse(t *testing.T) {
	for _, rate := range []int{8000, 48000, 192000} {
		d := mixplan.Dip{LowHz: 500, HighHz: 3000}
		near := func(what string, got, want, tol float64) {
			if math.Abs(got-want) > tol {
				t.Errorf("%d Hz: %s: %.4f dB, want %.4f", rate, what, got, want)
			}
		}
		near("low edge", ResponseDB(rate, d, 9, 9, 500), -4.5, 1e-9)
		near("high edge", ResponseDB(rate, d, 9, 9, 3000), -4.5, 1e-9)
		middle := math.Atan(math.Sqrt(warp(500, rate)*warp(3000, rate))) / math.Pi * float64(rate)
		near("middle", ResponseDB(rate, d, 9, 9, middle), -9, 1e-9)
		near("middle at a third", ResponseDB(rate, d, 9, 3, middle), -3, 1e-9)
		near("no depth", ResponseDB(rate, d, 9, 0, 1000), 0, 1e-12)
		for _, depth := range []float64{2, 9} {
			s := newShape(rate, d, 9)
			impulse, gain := make([]float64, rate/4), make([]float64, rate/4)
			impulse[0] = 1
			for i := range gain {
				gain[i] = depth
			}
			gains(gain)
			s.run(&state{}, impulse, gain)
			for _, hz := range []float64{60, 250, 500, 1200, 3000, 3900} {
				var sum complex128
				for n, v := range impulse {
					sum += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*hz*float64(n)/float64(rate)))
				}
				near("impulse", 20*math.Log10(cmplx.Abs(sum)), ResponseDB(rate, d, 9, depth, hz), 1e-6)
			}
		}
	}
}

// A dip driven as hard as no plan does it stays bounded by what the band-pass
// alone can give, and falls silent.
func TestDipIsStableWhenModulated(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 1))
	const rate = 48000
	s := newShape(rate, mixplan.Dip{LowHz: 50, HighHz: 20000}, 18)
	x, g := make([]float64, 4*rate), make([]float64, 4*rate)
	for i := range x {
		g[i] = rng.Float64()
		if i < 2*rate {
			x[i] = rng.Float64()*2 - 1
		}
	}
	var st state
	s.run(&st, x, g)
	for i, v := range x {
		if math.IsNaN(v) || math.Abs(v) > 3 {
			t.Fatalf("frame %d: %g", i, v)
		}
	}
	// A narrow low band rings longest: 28 Hz wide, it has fallen by 1e-76 in
	// 2 s, on its way to numbers that processors are slow with.
	s, st = newShape(rate, mixplan.Dip{LowHz: 50, HighHz: 60}, 18), state{}
	s.run(&st, x, g)
	if st != (state{}) || x[len(x)-1] != 0 {
		t.Errorf("after 2 s of silence: state %v, sound %g", st, x[len(x)-1])
	}
}

// With nothing spoken the sound comes out as it went in, to the bit.
func TestNothingSpokenChangesNothing(t *testing.T) {
	d := music("callout", 9, 60, 250, 500, 80)
	d.Dip = &mixplan.Dip{LowHz: 500, HighHz: 3000}
	c := New(48000, "music", []mixplan.Duck{music("voice", 3, 60, 0, 200, 0), d})
	if !c.Idle() {
		t.Error("not idle")
	}
	rng := rand.New(rand.NewPCG(2, 2))
	x := make([]float64, 5000)
	for i := range x {
		x[i] = rng.Float64()
	}
	y := slices.Clone(x)
	c.Apply([][]float64{y})
	if !slices.Equal(x, y) {
		t.Error("the sound changed")
	}
}

// The largest of several, and a band only beyond the whole.
func TestDeepestWins(t *testing.T) {
	const rate = 1000
	callout, effect := music("callout", 9, 90, 0, 500, 0), music("effect", 4, 40, 0, 300, 0)
	speech := []Speech{{"callout", 0.5, 1}, {"effect", 0.2, 2}}
	both, _, _ := course(rate, []mixplan.Duck{callout, effect}, speech, 3000, 3000)
	a := closedForm(rate, callout, speech, 3000)
	b := closedForm(rate, effect, speech, 3000)
	callout.Dip = &mixplan.Dip{LowHz: 100, HighHz: 300}
	broad, dips, _ := course(rate, []mixplan.Duck{callout, effect}, speech, 3000, 3000)
	for n := range both {
		if math.Abs(both[n]-math.Max(a[n], b[n])) > 1e-8 {
			t.Fatalf("frame %d: %g dB of %g and %g", n, both[n], a[n], b[n])
		}
		if math.Abs(broad[n]-b[n]) > 1e-8 || math.Abs(dips[0][n]-math.Max(0, a[n]-b[n])) > 1e-8 {
			t.Fatalf("frame %d: whole %g, band %g dB, want %g and %g", n, broad[n], dips[0][n], b[n], math.Max(0, a[n]-b[n]))
		}
	}
}

// Vectors are checked against the second writing of the law, so that what is
// handed to a game is not only our own output.
func TestVectorsFollowTheLaw(t *testing.T) {
	for _, v := range Vectors() {
		frames := int(v.Points[len(v.Points)-1].Frame) + 1
		var curves [][]float64
		for _, r := range v.Rules {
			curves = append(curves, closedForm(v.RateHz, r, v.Speech, frames))
		}
		moved := false
		for _, p := range v.Points {
			var broad, deep float64
			for i, r := range v.Rules {
				if r.Dip == nil {
					broad = math.Max(broad, curves[i][p.Frame])
				} else {
					deep = math.Max(deep, curves[i][p.Frame])
				}
			}
			if math.Abs(p.BroadDB-broad) > 1e-6 || math.Abs(p.DipDB-math.Max(0, deep-broad)) > 1e-6 {
				t.Errorf("%s, frame %d: %+v, want %g and %g dB", v.Name, p.Frame, p, broad, math.Max(0, deep-broad))
			}
			moved = moved || p.BroadDB > 0 || p.DipDB > 0
		}
		if moved == (v.Name == "nobody") {
			t.Errorf("%s: moved is %v", v.Name, moved)
		}
	}
}

func TestNewRefusesWhatNoPlanMayHold(t *testing.T) {
	for name, f := range map[string]func(){
		"rate":  func() { New(0, "music", nil) },
		"depth": func() { New(48000, "music", []mixplan.Duck{music("callout", 40, 60, 0, 500, 0)}) },
		"dip": func() {
			d := music("callout", 9, 60, 0, 500, 0)
			d.Dip = &mixplan.Dip{LowHz: 500, HighHz: 5000}
			New(8000, "music", []mixplan.Duck{d})
		},
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			f()
		}()
	}
}

func BenchmarkApply(b *testing.B) {
	dip := music("effect", 6, 50, 100, 300, 20)
	dip.Dip = &mixplan.Dip{LowHz: 400, HighHz: 3000}
	block := [][]float64{make([]float64, 48000), make([]float64, 48000)}
	c := New(48000, "music", []mixplan.Duck{music("callout", 9, 60, 250, 500, 80), dip})
	b.ReportAllocs()
	n := 0.0
	for b.Loop() {
		c.Speak("callout", n+0.2, n+0.5)
		c.Apply(block)
		n++
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
