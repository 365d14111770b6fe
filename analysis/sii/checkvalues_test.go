package sii

import (
	"math"
	"testing"
)

// The expected values are those of open implementations of S3.5 (the
// Apache-2.0 translation of the Müsch code: "G"; the validation files of a
// sound quality library: "M") or were computed with an independent
// implementation that reproduces these ("D").

func flat(db float64) (l Levels) {
	for i := range l {
		l[i] = db
	}
	return l
}

func plus(l Levels, db float64) Levels {
	for i := range l {
		l[i] += db
	}
	return l
}

var quietNoise = flat(NoNoiseDB)

func TestIndexCheckValues(t *testing.T) {
	normal := Speech(Normal, 1, Levels{})
	binaural := flat(BinauralDB)
	caseE := Levels{90, 5, 40, 40, 40, 40, 40, 40, 40, 40, 40, 40, 40, 40, -10, -10, -10, -10}
	caseN := Levels{10, -10, -10, 75, -10, -10, -10, -10, -10, -10, -10, -10, -10, -10, 10, 10, 10, 10}
	caseT := Levels{90}
	caseI := Importance{"case B", Levels{9: 0.1, 10: 0.1, 11: 0.1, 12: 0.1, 13: 0.1, 14: 0.1, 15: 0.1, 16: 0.3}}
	for _, c := range []struct {
		name       string
		e, n, t    Levels
		importance Importance
		want, tol  float64
	}{
		{"case A (G)", caseE, caseN, caseT, AverageSpeech, 0.445, 1e-3},
		{"case B (G)", caseE, caseN, caseT, caseI, 0.438, 1e-3},
		{"case A, five places (D)", caseE, caseN, caseT, AverageSpeech, 0.44539, 1e-5},
		{"case B, five places (D)", caseE, caseN, caseT, caseI, 0.43822, 1e-5},
		{"normal 1 m, two ears (G)", normal, quietNoise, binaural, AverageSpeech, 0.9969, 1e-4},
		{"normal 1 m (D)", normal, quietNoise, Levels{}, AverageSpeech, 0.9958, 1e-4},
		{"raised 1 m (D)", Speech(Raised, 1, Levels{}), quietNoise, Levels{}, AverageSpeech, 0.9983, 1e-4},
		{"SNR 0 (D)", normal, normal, Levels{}, AverageSpeech, 0.4663, 1e-4},
		{"SNR 5 (D)", normal, plus(normal, -5), Levels{}, AverageSpeech, 0.6363, 1e-4},
		{"SNR 10 (D)", normal, plus(normal, -10), Levels{}, AverageSpeech, 0.8052, 1e-4},
		{"SNR 15 (D)", normal, plus(normal, -15), Levels{}, AverageSpeech, 0.9715, 1e-4},
		{"SNR -5 (D)", normal, plus(normal, 5), Levels{}, AverageSpeech, 0.2957, 1e-4},
		{"SNR -10 (D)", normal, plus(normal, 10), Levels{}, AverageSpeech, 0.1248, 1e-4},
		{"SNR -15 (D)", normal, plus(normal, 15), Levels{}, AverageSpeech, 0.0000, 1e-4},
		{"flat 40, quiet (D)", flat(40), quietNoise, Levels{}, AverageSpeech, 0.9339, 1e-4},
		{"flat 40 in 30 (D)", flat(40), flat(30), Levels{}, AverageSpeech, 0.7570, 1e-4},
		{"flat 40 in 40 (D)", flat(40), flat(40), Levels{}, AverageSpeech, 0.4404, 1e-4},
		{"flat 60 in 50 (D)", flat(60), flat(50), Levels{}, AverageSpeech, 0.6496, 1e-4},
		{"flat 60 in 60 (D)", flat(60), flat(60), Levels{}, AverageSpeech, 0.3707, 1e-4},
		{"flat 60 in 54 (D)", flat(60), flat(54), Levels{}, AverageSpeech, 0.5383, 1e-4},
		{"flat 60 in 48 (D)", flat(60), flat(48), Levels{}, AverageSpeech, 0.7051, 1e-4},
		{"flat 60 in 42 (D)", flat(60), flat(42), Levels{}, AverageSpeech, 0.8141, 1e-4},
		{"flat 40 in 30, nonsense syllables (D)", flat(40), flat(30), Levels{}, NonsenseSyllables, 0.7489, 1e-4},
	} {
		got, _ := Index(c.e, c.n, c.t, c.importance)
		if !(math.Abs(got-c.want) <= c.tol) {
			t.Errorf("%s: %.5f, want %.5f ± %g", c.name, got, c.want, c.tol)
		}
		talker := NewListener(c.importance, c.t).Hear(c.e)
		var m Masker
		for k := range m {
			m[k] = math.Inf(-1)
		}
		copy(m[LowBands:], c.n[:])
		if fast := talker.Index(&m); !(math.Abs(fast-c.want) <= c.tol) {
			t.Errorf("%s: fast path %.5f, want %.5f ± %g", c.name, fast, c.want, c.tol)
		}
	}
}

// TestDistanceSeries: normal speech without noise at 0.5 to 20 m, two ears,
// 40 published values (G), given to four places.
func TestDistanceSeries(t *testing.T) {
	want := []float64{
		1.0000, 0.9969, 0.9947, 0.9920, 0.9885, 0.9856, 0.9831, 0.9810, 0.9791, 0.9775, 0.9760, 0.9746, 0.9722, 0.9698, 0.9677, 0.9657,
		0.9638, 0.9619, 0.9600, 0.9583, 0.9567, 0.9551, 0.9532, 0.9508, 0.9477, 0.9434, 0.9380, 0.9322, 0.9266, 0.9203, 0.9143, 0.9084,
		0.9024, 0.8962, 0.8901, 0.8844, 0.8788, 0.8733, 0.8680, 0.8627,
	}
	for i, w := range want {
		d := 0.5 * float64(i+1)
		got, _ := Index(Speech(Normal, d, Levels{}), quietNoise, flat(BinauralDB), AverageSpeech)
		if math.Abs(got-w) > 1e-4 {
			t.Errorf("%g m: %.5f, want %.4f", d, got, w)
		}
	}
}

// TestMaskingExample: the masking example of the standard (M), to 0.02 dB.
func TestMaskingExample(t *testing.T) {
	_, d := Index(Levels{54, 54, 54}, Levels{40, 30, 20}, Levels{}, AverageSpeech)
	for i, want := range []float64{40, 34.66, 25.04} {
		if math.Abs(d.Z[i]-want) > 0.02 {
			t.Errorf("Z of %g Hz: %.3f, want %.2f", MidHz[i], d.Z[i], want)
		}
	}
}

// TestOctaveExample: the octave-band example (M) uses equations (11) to (14)
// with octave tables and without spread: SII 0.504, products by band.
func TestOctaveExample(t *testing.T) {
	e := []float64{50, 40, 40, 30, 20, 0}
	n := []float64{70, 65, 45, 25, 1, -15}
	x := []float64{-3.9, -9.7, -12.5, -17.7, -25.9, -7.1}
	u := []float64{34.75, 34.27, 25.01, 17.32, 9.33, 1.13}
	imp := []float64{0.0617, 0.1671, 0.2373, 0.2648, 0.2142, 0.0549}
	want := []float64{0, 0, 0.08, 0.17, 0.21, 0.04}
	var sum float64
	for i := range e {
		p := imp[i] * levelDistortion(e[i], u[i]) * audible(e[i], max(n[i], x[i]))
		if math.Abs(p-want[i]) > 0.0051 {
			t.Errorf("band %d: %.4f, want %.2f", i, p, want[i])
		}
		sum += p
	}
	if math.Abs(sum-0.504) > 2e-3 {
		t.Errorf("octave SII %.4f, want 0.504", sum)
	}
}

// TestDuckDepths: how far a flat masker of 60 has to sink for flat speech of
// 60 to reach a target (D), to 0.01 dB.
func TestDuckDepths(t *testing.T) {
	talker := NewListener(AverageSpeech, Levels{}).Hear(flat(60))
	for _, c := range []struct{ target, want float64 }{{0.45, 2.837}, {0.50, 4.628}, {0.60, 8.218}} {
		lo, hi := 0.0, 30.0
		for range 50 {
			mid := (lo + hi) / 2
			var m Masker
			for k := range m {
				m[k] = math.Inf(-1)
				if k >= LowBands {
					m[k] = 60 - mid
				}
			}
			if talker.Index(&m) < c.target {
				lo = mid
			} else {
				hi = mid
			}
		}
		if math.Abs(hi-c.want) > 0.01 {
			t.Errorf("target %g: %.4f dB, want %.3f", c.target, hi, c.want)
		}
	}
}

// TestStandardSpeechLevels: overall levels stated under Table 3 (G, M). The
// printed columns add up to within 0.1 dB of them.
func TestStandardSpeechLevels(t *testing.T) {
	for e, want := range map[Effort]float64{Normal: 62.35, Raised: 68.34, Loud: 74.85, Shout: 82.30} {
		if got := OverallDB(Speech(e, 1, Levels{})); math.Abs(got-want) > 0.1 {
			t.Errorf("effort %d: %.3f dB SPL, want %.2f", e, got, want)
		}
	}
	if got := OverallDB(Speech(Normal, 1, Levels{})); math.Abs(got-62.36) > 0.02 {
		t.Errorf("normal: %.3f dB SPL, want 62.36 (D)", got)
	}
}

func TestTables(t *testing.T) {
	for _, imp := range Importances() {
		var sum float64
		for _, v := range imp.Band {
			sum += v
		}
		want := 1.0
		if imp.Name == SPIN.Name {
			want = 0.9999 // as printed
		}
		if math.Abs(sum-want) > 1e-9 {
			t.Errorf("%s sums to %.4f, want %.4f", imp.Name, sum, want)
		}
	}
	for k := range MaskerBands {
		// 6.353 is 10·log10 of f over the bandwidth, equation (7); the exact
		// mid-frequencies are 1000·10^(x/10) (IEC 61260-1).
		exact := 1000 * math.Pow(10, float64(k-17)/10)
		if math.Abs(MaskerMidHz[k]/exact-1) > 0.012 {
			t.Errorf("masker band %d: %g Hz, exact %g", k, MaskerMidHz[k], exact)
		}
		if want := 10*math.Log10(exact) - 6.353; math.Abs(MaskerBandwidthDB[k]-want) > 0.006 {
			t.Errorf("masker band %g Hz: bandwidth %g dB, want %.3f", MaskerMidHz[k], MaskerBandwidthDB[k], want)
		}
	}
	for i := range Bands {
		if MidHz[i] != MaskerMidHz[i+LowBands] || BandwidthDB[i] != MaskerBandwidthDB[i+LowBands] {
			t.Errorf("band %d: speech and masker tables differ", i)
		}
	}
}

// TestLowMaskers: raised speech in quiet against one masker below 160 Hz,
// spectrum level in dB, computed by a separate script from equations (7) and
// (9) with the band as a further term of the sum.
func TestLowMaskers(t *testing.T) {
	for _, c := range []struct{ hz, db, want float64 }{
		{63, 60, 0.99825}, {63, 70, 0.99270}, {63, 80, 0.97470}, {63, 90, 0.87328}, {63, 100, 0.09186},
		{100, 60, 0.98833}, {100, 70, 0.97373}, {100, 80, 0.92090}, {100, 90, 0.62777}, {100, 100, 0},
		{40, 80, 0.99310}, {40, 90, 0.96053}, {40, 100, 0.49420},
	} {
		var m Masker
		for k := range m {
			m[k] = math.Inf(-1)
			if MaskerMidHz[k] == c.hz {
				m[k] = c.db
			}
		}
		e := Speech(Raised, 1, Levels{})
		got, _ := IndexMasked(e, m, Levels{}, AverageSpeech)
		talker := NewListener(AverageSpeech, Levels{}).Hear(e)
		if fast := talker.Index(&m); math.Abs(got-c.want) > 2e-5 || math.Abs(fast-c.want) > 2e-5 {
			t.Errorf("%g dB/Hz at %g Hz: %.5f, fast %.5f, want %.5f", c.db, c.hz, got, fast, c.want)
		}
	}
}

func TestQuality(t *testing.T) {
	for _, c := range []struct {
		index float64
		want  string
	}{{0, "lost"}, {0.2999, "lost"}, {0.30, "guessable"}, {0.4499, "guessable"}, {0.45, "understood"}, {0.5999, "understood"},
		{0.60, "clear"}, {1, "clear"}, {math.NaN(), "lost"}} {
		if got := Judge(c.index).String(); got != c.want {
			t.Errorf("%g is %s, want %s", c.index, got, c.want)
		}
	}
	for _, c := range []struct{ index, want float64 }{{-1, 0}, {0, 0}, {0.30, 60}, {0.325, 67}, {0.45, 90}, {0.60, 98}, {1, 100}, {2, 100}} {
		if got := SentencesPercent(c.index); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("sentences at %g: %g %%, want %g", c.index, got, c.want)
		}
	}
}

// TestDistance: level over distance, equation (16), check values of -20·log10(d).
func TestDistance(t *testing.T) {
	for d, want := range map[float64]float64{0.6: 4.437, 0.7: 3.098, 2: -6.021} {
		if got := Speech(Loud, d, flat(1))[6] - 1 - Speech(Loud, 1, Levels{})[6]; math.Abs(got-want) > 1e-3 {
			t.Errorf("%g m: %+.4f dB, want %+.3f", d, got, want)
		}
	}
	defer func() {
		if recover() == nil {
			t.Error("distance 0 did not panic")
		}
	}()
	Speech(Normal, 0, Levels{})
}
