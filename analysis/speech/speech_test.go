package speech

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func measure(t testing.TB, rateHz int, x []float64) Result {
	t.Helper()
	m, err := New(rateHz)
	if err != nil {
		t.Fatal(err)
	}
	m.Write(x)
	return m.Result()
}

// bursts is noise of the given rms, onS on and offS off in turn, over noise.
func bursts(rateHz int, lengthS, onS, offS, rms, floor float64) []float64 {
	r := rand.New(rand.NewPCG(5, 6))
	x := make([]float64, int(lengthS*float64(rateHz)))
	for i := range x {
		x[i] = floor * r.NormFloat64()
		if math.Mod(float64(i)/float64(rateHz), onS+offS) < onS {
			x[i] += rms * r.NormFloat64()
		}
	}
	return x
}

func near(t testing.TB, what string, got Reading, want, tolerance float64) {
	t.Helper()
	if !got.OK() || !(math.Abs(got.Value-want) <= tolerance) {
		t.Errorf("%s = %.4f %s, want %.4f ± %g", what, got.Value, got.Absent, want, tolerance)
	}
}

// A sound that never pauses is all active: the level is its RMS.
func TestSteadySoundIsAllActive(t *testing.T) {
	for _, rate := range []int{8000, 44100, 192000} {
		x := make([]float64, 20*rate)
		for i := range x {
			x[i] = 0.5 * math.Sin(2*math.Pi*440*float64(i)/float64(rate))
		}
		r := measure(t, rate, x)
		near(t, "active level", r.ActiveDB, -9.031, 0.01)
		near(t, "activity", r.Activity, 1, 0.003) // the envelope needs a moment to rise
	}
}

// Bursts longer than the hangover: active is the burst, the hangover of 0.2 s
// and the fall of the envelope. Two 30 ms averages fall to the threshold that
// stands 15.9 dB under the level in (1+t/τ)·exp(-t/τ) = 10^(-15.9/20)·rms/mean
// magnitude (1.2533 for noise): t = 2.97 τ = 0.09 s. The rise takes away some
// 0.5 τ.
func TestBurstsOfKnownDuty(t *testing.T) {
	for _, c := range []struct{ on, off float64 }{{1, 1}, {2, 1}, {1, 3}, {0.5, 2}} {
		r := measure(t, 8000, bursts(8000, 60*(c.on+c.off)/3, c.on, c.off, 0.1, 0))
		want := (c.on + 0.2 + 0.09 - 0.015) / (c.on + c.off)
		near(t, "activity", r.Activity, want, 0.02)
		near(t, "active level", r.ActiveDB, -20+10*math.Log10(c.on/(c.on+c.off)/want), 0.15)
		near(t, "the tie between the two", r.ActiveDB, r.LongTermDB.Value+10*math.Log10(1/r.Activity.Value), 1e-9)
	}
}

// Pauses shorter than the hangover, as between syllables, belong to the speech.
func TestShortPausesAreActive(t *testing.T) {
	r := measure(t, 8000, bursts(8000, 30, 0.2, 0.15, 0.1, 0))
	near(t, "activity", r.Activity, 1, 0.01)
}

// Without silence at its ends and with it, the voice speaks as loud.
func TestSilenceAroundChangesLittle(t *testing.T) {
	x := bursts(16000, 8, 3, 0.1, 0.1, 0)
	y := append(append(make([]float64, 5*16000), x...), make([]float64, 7*16000)...)
	a, b := measure(t, 16000, x), measure(t, 16000, y)
	near(t, "active level", b.ActiveDB, a.ActiveDB.Value, 0.2)
	if d := a.LongTermDB.Value - b.LongTermDB.Value; d < 3.5 {
		t.Errorf("long-term level changed by %g dB only", d)
	}
}

// The thresholds are 6.02 dB apart: halving the sound moves all by one.
func TestGain(t *testing.T) {
	x := bursts(8000, 20, 0.7, 0.6, 0.1, 0.0005)
	a := measure(t, 8000, x)
	for _, g := range []float64{0.5, 0.25, 1. / 64} {
		y := slices.Clone(x)
		for i := range y {
			y[i] *= g
		}
		b := measure(t, 8000, y)
		near(t, "active level", b.ActiveDB, a.ActiveDB.Value+20*math.Log10(g), 1e-9)
		near(t, "activity", b.Activity, a.Activity.Value, 1e-9)
		near(t, "noise floor", b.NoiseFloorDB, a.NoiseFloorDB.Value+20*math.Log10(g), 0.15) // classes of 0.25 dB
	}
	// In between, the straight line between two thresholds is a good guess.
	for i := range x {
		x[i] *= 0.7
	}
	near(t, "0.7 of it", measure(t, 8000, x).ActiveDB, a.ActiveDB.Value+20*math.Log10(0.7), 0.15)
}

// The meter counts at crossings; the method counts at every sample.
func TestAgainstTheSampleBySampleWay(t *testing.T) {
	x := bursts(8000, 12, 0.6, 0.5, 0.2, 1e-4)
	for i := range x {
		x[i] *= 0.05 + math.Abs(math.Sin(float64(i)/2000)) // through many thresholds
	}
	g := math.Exp(-1 / (8000 * 0.03))
	var p, q float64
	var a, h [count]int
	for j := range h {
		h[j] = 1600
	}
	for _, v := range x {
		p = g*p + (1-g)*math.Abs(v)
		q = g*q + (1-g)*p
		for j := range a {
			if q >= math.Pow(2, float64(j+lowest)) {
				a[j]++
				h[j] = 0
			} else if h[j] < 1600 {
				a[j]++
				h[j]++
			}
		}
	}
	m, _ := New(8000)
	m.Write(x)
	for j := range a {
		if got := m.active(j); got != int64(a[j]) {
			t.Errorf("threshold %d: %d active samples, counted one by one %d", j, got, a[j])
		}
	}
}

func TestNoiseFloor(t *testing.T) {
	for _, rate := range []int{8000, 48000} {
		for _, floor := range []float64{-40, -60, -80} {
			r := measure(t, rate, bursts(rate, 12, 1, 1, 0.1, math.Pow(10, floor/20)))
			near(t, "noise floor", r.NoiseFloorDB, floor-0.25, 0.35)
			near(t, "speech to noise", r.SpeechToNoise, r.ActiveDB.Value-r.NoiseFloorDB.Value, 1e-9)
		}
	}
	// Breath in less than half of the pause is not the floor.
	x := bursts(8000, 12, 1, 1, 0.1, 1e-4)
	for i, v := range bursts(8000, 12, 0.35, 0.65, 1e-3, 0) {
		x[i] += v
	}
	near(t, "noise floor with breath", measure(t, 8000, x).NoiseFloorDB, -80.25, 0.5)
	if r := measure(t, 8000, bursts(8000, 12, 1, 1, 0.1, 0)); r.NoiseFloorDB.Absent != ReasonDigitalSilence {
		t.Errorf("gated pauses: %+v", r.NoiseFloorDB)
	}
	if r := measure(t, 8000, bursts(8000, 12, 20, 1, 0.1, 0)); r.NoiseFloorDB.Absent != ReasonNoPauses {
		t.Errorf("no pauses: %+v", r.NoiseFloorDB)
	}
}

func TestNothingToMeasure(t *testing.T) {
	for _, x := range [][]float64{nil, {0}, make([]float64, 8000), {math.NaN(), math.Inf(1)}} {
		r := measure(t, 8000, x)
		for _, v := range []Reading{r.LongTermDB, r.ActiveDB, r.Activity, r.NoiseFloorDB, r.SpeechToNoise} {
			if v.Absent != ReasonEmpty || !math.IsNaN(v.Value) {
				t.Errorf("%d samples: %+v", len(x), r)
			}
		}
	}
	if r := measure(t, 8000, bursts(8000, 1, 1, 1, 1e-9, 0)); r.ActiveDB.Absent != ReasonTooQuiet || !r.LongTermDB.OK() {
		t.Errorf("noise at -180 dB: %+v", r)
	}
	if m, err := New(7999); err == nil || m != nil {
		t.Error("7999 Hz was taken")
	}
}

func TestBlockSizeDoesNotMatter(t *testing.T) {
	x := bursts(11025, 5, 0.4, 0.3, 0.1, 1e-4)
	x[3000] = math.Inf(1)
	want := measure(t, 11025, x)
	for _, size := range []int{1, 100, 4096} {
		m, _ := New(11025)
		for part := range slices.Chunk(x, size) {
			m.Write(part)
		}
		if got := m.Result(); got != want || got.Unusable != 1 {
			t.Errorf("blocks of %d: %+v, want %+v", size, got, want)
		}
	}
}

func FuzzMeter(f *testing.F) {
	f.Add(uint64(1), 1.0, 1e-3, uint16(9000))
	f.Add(uint64(2), 1e300, math.NaN(), uint16(30000))
	f.Fuzz(func(t *testing.T, seed uint64, loud, quiet float64, frames uint16) {
		r := rand.New(rand.NewPCG(seed, 1))
		x := make([]float64, frames)
		for i := range x {
			x[i] = quiet * r.NormFloat64()
			if i/2000%2 == 0 {
				x[i] = loud * r.NormFloat64()
			}
		}
		res := measure(t, 8000, x)
		for _, v := range []Reading{res.LongTermDB, res.ActiveDB, res.Activity, res.NoiseFloorDB, res.SpeechToNoise} {
			if v.OK() == math.IsNaN(v.Value) || math.IsInf(v.Value, 0) {
				t.Fatalf("%+v", res)
			}
		}
		if res.Activity.OK() && (res.Activity.Value <= 0 || res.Activity.Value > 1+1e-9) {
			t.Fatalf("activity %g", res.Activity.Value)
		}
	})
}

func BenchmarkMeter48k(b *testing.B) {
	x := bursts(48000, 2, 0.4, 0.3, 0.1, 1e-4)
	m, _ := New(48000)
	b.ReportAllocs()
	for b.Loop() {
		m.Write(x)
	}
	b.ReportMetric(float64(b.N)*2/b.Elapsed().Seconds(), "x-realtime")
}
