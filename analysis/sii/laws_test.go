package sii

import (
	"math"
	"math/rand/v2"
	"testing"
)

func randomLevels(rng *rand.Rand, lo, hi float64) (l Levels) {
	for i := range l {
		l[i] = lo + (hi-lo)*rng.Float64()
	}
	return l
}

func randomMasker(rng *rand.Rand, lo, hi float64) (m Masker) {
	for k := range m {
		m[k] = lo + (hi-lo)*rng.Float64()
		if rng.IntN(5) == 0 {
			m[k] = math.Inf(-1)
		}
	}
	return m
}

// TestMoreNoiseNeverHelps, in any band, by any amount, for both paths, and
// the index stays within 0..1.
func TestMoreNoiseNeverHelps(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 3000 {
		e, m := randomLevels(rng, -20, 95), randomMasker(rng, -60, 95)
		talker := NewListener(AverageSpeech, Levels{}).Hear(e)
		before, _ := IndexMasked(e, m, Levels{}, AverageSpeech)
		fastBefore := talker.Index(&m)
		k := rng.IntN(MaskerBands)
		m[k] = max(m[k], -60) + 20*rng.Float64()
		after, _ := IndexMasked(e, m, Levels{}, AverageSpeech)
		fastAfter := talker.Index(&m)
		if after > before+1e-12 || fastAfter > fastBefore+1e-8 {
			t.Fatalf("more noise at %g Hz raised the index from %.9f to %.9f (fast %.9f to %.9f)",
				MaskerMidHz[k], before, after, fastBefore, fastAfter)
		}
		if before < 0 || before > 1 {
			t.Fatalf("index %g", before)
		}
	}
}

// TestFastPathAgrees: the fast path is the standard to within 1e-8.
func TestFastPathAgrees(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	var worst float64
	for range 5000 {
		e, m := randomLevels(rng, -30, 110), randomMasker(rng, -60, 125)
		threshold := randomLevels(rng, -10, 40)
		imps := Importances()
		imp := imps[rng.IntN(len(imps))]
		if rng.IntN(10) == 0 {
			e[rng.IntN(Bands)] = math.Inf(-1)
		}
		want, _ := IndexMasked(e, m, threshold, imp)
		talker := NewListener(imp, threshold).Hear(e)
		worst = max(worst, math.Abs(talker.Index(&m)-want))
	}
	if !(worst <= 1e-8) {
		t.Errorf("differs by %g", worst)
	}
}

// TestLouderIsNotBetter: speech and noise raised together, both well over the
// threshold, never gain.
func TestLouderIsNotBetter(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 1000 {
		e, n := randomLevels(rng, 40, 80), randomLevels(rng, 30, 80)
		up := 15 * rng.Float64()
		before, _ := Index(e, n, Levels{}, AverageSpeech)
		after, _ := Index(plus(e, up), plus(n, up), Levels{}, AverageSpeech)
		if after > before+1e-12 {
			t.Fatalf("+%.1f dB: %.6f to %.6f", up, before, after)
		}
	}
}

// TestFaintMaskerIsNothing: a source 100 dB under the noise changes nothing
// beyond 1e-6, and no energy below 160 Hz leaves the standard's value to the
// last bit.
func TestFaintMaskerIsNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for range 500 {
		e, n := randomLevels(rng, 20, 80), randomLevels(rng, 0, 80)
		want, _ := Index(e, n, Levels{}, AverageSpeech)
		var m, faint Masker
		for k := range m {
			m[k] = NoNoiseDB
			faint[k] = -20
			if k >= LowBands {
				m[k] = n[k-LowBands]
				faint[k] = 10 * math.Log10(math.Pow(10, n[k-LowBands]/10)*(1+1e-10))
			}
		}
		if got, _ := IndexMasked(e, m, Levels{}, AverageSpeech); got != want {
			t.Fatalf("empty low bands: %.17g, want %.17g", got, want)
		}
		if got, _ := IndexMasked(e, faint, Levels{}, AverageSpeech); math.Abs(got-want) > 1e-6 {
			t.Fatalf("faint source: %.9f, want %.9f", got, want)
		}
	}
}

// TestQuickMath against package math, over the whole range that is used.
func TestQuickMath(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for range 200000 {
		x := 140*rng.Float64() - 70
		e := math.Exp(x)
		if got := quickExp(x); math.Abs(got/e-1) > 1e-11 {
			t.Fatalf("exp(%g): %g, want %g", x, got, e)
		}
		if got := quickLog(e); math.Abs(got-math.Log(e)) > 1e-11 {
			t.Fatalf("log(%g): %.15g, want %.15g", e, got, math.Log(e))
		}
	}
	for _, x := range []float64{-700, -1, 0, 1, 700} {
		if got := quickExp(x); math.Abs(got/math.Exp(x)-1) > 1e-11 {
			t.Errorf("exp(%g): %g", x, got)
		}
	}
	if quickLog(1) > 1e-11 || quickExp(-1e9) != quickExp(-700) || quickExp(1e9) != quickExp(700) {
		t.Error("ends")
	}
}

func TestSilenceAndNaN(t *testing.T) {
	silent := flat(math.Inf(-1))
	var none Masker
	for k := range none {
		none[k] = math.Inf(-1)
	}
	l := NewListener(AverageSpeech, Levels{})
	talker := l.Hear(silent)
	if got, _ := Index(silent, silent, Levels{}, AverageSpeech); got != 0 || talker.Index(&none) != 0 {
		t.Errorf("silent speech: %g, fast %g", got, talker.Index(&none))
	}
	want, _ := Index(flat(60), quietNoise, Levels{}, AverageSpeech)
	talker = l.Hear(flat(60))
	if got, _ := Index(flat(60), silent, Levels{}, AverageSpeech); got != want || math.Abs(talker.Index(&none)-want) > 1e-8 {
		t.Errorf("silent noise: %g, fast %g, want %g", got, talker.Index(&none), want)
	}
	nan := math.NaN()
	for _, k := range []int{0, LowBands, LowBands + 5, MaskerBands - 1} {
		m := none
		m[k] = nan
		got, _ := IndexMasked(flat(60), m, Levels{}, AverageSpeech)
		if fast := talker.Index(&m); !math.IsNaN(got) || !math.IsNaN(fast) {
			t.Errorf("NaN in masker band %d: %g, fast %g", k, got, fast)
		}
	}
	e := flat(60)
	e[7] = nan
	broken := l.Hear(e)
	if got, _ := Index(e, quietNoise, Levels{}, AverageSpeech); !math.IsNaN(got) || !math.IsNaN(broken.Index(&none)) {
		t.Errorf("NaN speech: %g, fast %g", got, broken.Index(&none))
	}
	deaf := NewListener(AverageSpeech, Levels{3: nan}).Hear(flat(60))
	if got := deaf.Index(&none); !math.IsNaN(got) {
		t.Errorf("NaN threshold: fast %g", got)
	}
}

func TestExtended(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	l := NewListener(ShortPassages, Levels{})
	const n = 101
	speech, masker, active := make([]Levels, n), make([]Masker, n), make([]bool, n)
	for f := range n {
		speech[f] = randomLevels(rng, 30, 70)
		active[f] = f%3 != 0
		for k := range masker[f] {
			masker[f][k] = math.Pow(10, 6*rng.Float64())
		}
	}
	long := LongTerm(speech, active)
	for _, s := range [][]Levels{speech, {long}} {
		c := Extended(l, s, masker, active)
		var sum float64
		var heard []float64
		for f := range n {
			if !active[f] {
				if !math.IsNaN(c.Frame[f]) {
					t.Errorf("inactive frame %d has index %g", f, c.Frame[f])
				}
				continue
			}
			var db Masker
			for k, p := range masker[f] {
				db[k] = 10 * math.Log10(p)
			}
			want, _ := IndexMasked(s[min(f, len(s)-1)], db, Levels{}, ShortPassages)
			if math.Abs(c.Frame[f]-want) > 1e-8 {
				t.Errorf("frame %d: %g, want %g", f, c.Frame[f], want)
			}
			sum += want
			heard = append(heard, want)
		}
		if c.Active != len(heard) || math.Abs(c.Mean-sum/float64(len(heard))) > 1e-8 {
			t.Errorf("mean %g over %d, want %g over %d", c.Mean, c.Active, sum/float64(len(heard)), len(heard))
		}
		under := 0
		for _, v := range heard {
			if v < c.P10 {
				under++
			}
		}
		if under < 6 || under > 7 || c.Min > c.P10 { // a tenth of 67 frames
			t.Errorf("%d of %d frames lie under the 10th percentile", under, len(heard))
		}
	}
	// A steady masker and the long-term spectrum give the plain index.
	for f := range masker {
		masker[f] = masker[0]
	}
	c := Extended(l, []Levels{long}, masker, nil)
	if c.Mean-c.Min > 1e-12 || c.P10 != c.Min {
		t.Errorf("steady: mean %g, P10 %g, min %g", c.Mean, c.P10, c.Min)
	}
	if c := Extended(l, []Levels{long}, masker, make([]bool, n)); !math.IsNaN(c.Mean) || c.Active != 0 {
		t.Errorf("nothing active: %+v", c)
	}
	// 0, 0.1, .. 1: the 10th percentile is 0.1 (definition).
	ramp := []float64{1, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0}
	if mean, p10, least := Summary(ramp); math.Abs(mean-0.5) > 1e-12 || math.Abs(p10-0.1) > 1e-12 || least != 0 {
		t.Errorf("ramp: %g %g %g", mean, p10, least)
	}
}

// TestLongTerm: 60 dB and 50 dB in equal time are 57.40 dB.
func TestLongTerm(t *testing.T) {
	got := LongTerm([]Levels{flat(60), flat(20), flat(50)}, []bool{true, false, true})
	if want := 10 * math.Log10((1e6+1e5)/2); math.Abs(got[4]-want) > 1e-9 {
		t.Errorf("%g dB, want %g", got[4], want)
	}
	if got := LongTerm(nil, nil); !math.IsInf(got[0], -1) {
		t.Errorf("nothing: %g", got[0])
	}
}

func TestFastPathDoesNotAllocate(t *testing.T) {
	l := NewListener(AverageSpeech, Levels{})
	e := Speech(Raised, 1, Levels{})
	m := typicalMasker()
	if n := testing.AllocsPerRun(100, func() {
		talker := l.Hear(e)
		sink += talker.IndexPower(&m)
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

var sink float64

// typicalMasker is a hall of crowd noise with an engine low down: power.
func typicalMasker() (m Masker) {
	for i, u := range Speech(Loud, 1, Levels{}) {
		m[LowBands+i] = math.Pow(10, (u+3)/10)
	}
	for k := range LowBands + 5 {
		m[k] += math.Pow(10, (70-float64(k))/10)
	}
	return m
}

func BenchmarkIndexPower(b *testing.B) {
	t := NewListener(AverageSpeech, Levels{}).Hear(plus(Speech(Raised, 1, Levels{}), 12))
	m := typicalMasker()
	b.ReportAllocs()
	for b.Loop() {
		sink += t.IndexPower(&m)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "evaluations/s")
}

func BenchmarkHear(b *testing.B) {
	l := NewListener(AverageSpeech, Levels{})
	e := Speech(Raised, 1, Levels{})
	b.ReportAllocs()
	for b.Loop() {
		t := l.Hear(e)
		sink += t.topDB[0]
	}
}

func BenchmarkIndex(b *testing.B) {
	e, n := Speech(Raised, 1, Levels{}), Speech(Loud, 1, Levels{})
	b.ReportAllocs()
	for b.Loop() {
		v, _ := Index(e, n, Levels{}, AverageSpeech)
		sink += v
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "evaluations/s")
}
