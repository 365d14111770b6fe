package ear

import (
	"math"
	"math/rand/v2"
	"testing"

	"tachbench/analysis/band"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
)

func bandsOf(t testing.TB, x []float64, rateHz int) Levels {
	t.Helper()
	m, err := band.New(rateHz, 1)
	if err != nil {
		t.Fatal(err)
	}
	m.Write([][]float64{x})
	return SpectrumDBFS(m.Result()[0])
}

var smallSpeaker = []sheet.ResponsePoint{{Hz: 60, DB: -28}, {Hz: 100, DB: -14}, {Hz: 160, DB: -3}, {Hz: 250, DB: 2}, {Hz: 630, DB: 0},
	{Hz: 1600, DB: -2}, {Hz: 3150, DB: 4}, {Hz: 6300, DB: 1}, {Hz: 10000, DB: -5}, {Hz: 16000, DB: -15}}

// TestCabinetMatchesBandGains: an impulse through the filter has the chain's
// band gains, within 0.3 dB where the band is within 40 dB of the strongest,
// at every rate. The impulse's own bands are those of white noise.
func TestCabinetMatchesBandGains(t *testing.T) {
	for name, l := range map[string]*sheet.Listening{
		"low cut 110":  {LevelAtEarDB: 82, NoiseDBA: 78, SpeakerLowCutHz: ptr(110)},
		"low cut 10":   {LevelAtEarDB: 82, NoiseDBA: 78, SpeakerLowCutHz: ptr(10)},
		"low cut 2000": {LevelAtEarDB: 82, NoiseDBA: 78, SpeakerLowCutHz: ptr(2000)},
		"response":     {LevelAtEarDB: 82, NoiseDBA: 78, SpeakerResponse: smallSpeaker},
		"both":         {LevelAtEarDB: 82, NoiseDBA: 78, SpeakerResponse: smallSpeaker[3:], SpeakerLowCutHz: ptr(140)},
		"flat":         {LevelAtEarDB: 82, NoiseDBA: 78},
	} {
		for _, rate := range []int{8000, 48000, 96000} {
			c := mustNew(t, l)
			f := c.NewCabinet(rate)
			// The response of the filter itself, on a grid of 0.1 Hz or
			// finer, so that the narrow bands at the bottom are resolved.
			x := make([]float64, rate/2)
			x[0] = 1
			f.Process(x)
			got := bandGains(x, rate)
			want := c.GainDB.Plus(-c.FullScaleDB)
			strongest := math.Inf(-1)
			for b := range Bands {
				if !math.IsNaN(got[b]) {
					strongest = max(strongest, want[b])
				}
			}
			var worst float64
			for b := range Bands {
				if !math.IsNaN(got[b]) && want[b] > strongest-40 {
					worst = max(worst, math.Abs(got[b]-want[b]))
				}
			}
			if worst > 0.3 || math.Abs(worst-f.ErrorDB) > 0.05 {
				t.Errorf("%s at %d Hz: off by %.3f dB, says %.3f, %d taps", name, rate, worst, f.ErrorDB, f.Taps())
			}
			t.Logf("%s at %d Hz: off by %.3f dB, %d taps", name, rate, worst, f.Taps())
		}
	}
}

// TestCabinetHeard: white noise before and after the filter differs by the
// band gains, measured with the spectrum meter of package band.
func TestCabinetHeard(t *testing.T) {
	const rate = 44100
	for _, l := range []*sheet.Listening{nil, {LevelAtEarDB: 82, NoiseDBA: 78, SpeakerResponse: smallSpeaker}} {
		c := mustNew(t, l)
		x := tone.White(rate, 1, 4, 0.1, 4).Chans[0]
		before := bandsOf(t, x, rate)
		c.NewCabinet(rate).Process(x)
		after := bandsOf(t, x, rate)
		for b, want := range c.GainDB.Plus(-c.FullScaleDB) {
			if math.Abs(after[b]-before[b]-want) > 0.3 && want > -40 && MidHz(b) > 50 {
				t.Errorf("%g Hz: %.3f dB, want %.3f", MidHz(b), after[b]-before[b], want)
			}
		}
	}
}

// TestCabinetIsMinimumPhase: for a low cut alone the minimum-phase FIR made
// from its magnitude is the recursive filter, phase and all.
func TestCabinetIsMinimumPhase(t *testing.T) {
	const rate = 48000
	f := newHighPass(200, rate)
	want := make([]float64, 2000)
	want[0] = 1
	f.process(want)
	got := impulse(func(hz float64) float64 {
		x := math.Pow(math.Tan(math.Pi*hz/rate)/f.k, 4)
		return 10 * math.Log10(x/(1+x))
	}, rate)
	var worst float64
	for i := range want {
		worst = max(worst, math.Abs(got[i]-want[i]))
	}
	if worst > 1e-3 {
		t.Errorf("impulse responses differ by %g", worst)
	}
}

func TestCabinetLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, l := range []*sheet.Listening{nil, {LevelAtEarDB: 82, NoiseDBA: 78, SpeakerResponse: smallSpeaker}, {LevelAtEarDB: 82, NoiseDBA: 78}} {
		c := mustNew(t, l)
		f := c.NewCabinet(44100)
		in := make([]float64, 9001)
		for i := range in[:6000] {
			in[i] = rng.NormFloat64()
		}
		whole := append([]float64(nil), in...)
		f.Process(whole)
		for _, size := range []int{1, 7, 64, 1023, 1024, 1025, 5000} {
			f.Reset()
			cut := append([]float64(nil), in...)
			for i := 0; i < len(cut); i += size {
				f.Process(cut[i:min(i+size, len(cut))])
			}
			for i := range cut {
				if cut[i] != whole[i] {
					t.Fatalf("blocks of %d: sample %d is %g, want %g", size, i, cut[i], whole[i])
				}
			}
		}
		f.Process(nil)
		f.Reset()
		if f.Taps() > 0 || f.cut != nil {
			broken := append([]float64(nil), in...)
			holes := append([]float64(nil), in...)
			for i, v := range []float64{math.NaN(), math.Inf(1), 1e300} {
				broken[100+i], holes[100+i] = v, 0
			}
			f.Process(broken)
			f.Reset()
			f.Process(holes)
			for i := range holes {
				if broken[i] != holes[i] {
					t.Fatalf("unusable samples: sample %d is %g, want %g", i, broken[i], holes[i])
				}
			}
		}
		f.Reset()
		silent := make([]float64, 5000)
		f.Process(silent)
		for _, v := range silent {
			if v != 0 {
				t.Fatal("silence makes sound")
			}
		}
	}
}

// TestHallNoiseLevels: the filter gives exactly the hall's bands, and the noise
// itself the hall's A-weighted level, on the scale of the cabinet filter.
func TestHallNoiseLevels(t *testing.T) {
	steep := make([]float64, 18)
	for i := range steep {
		steep[i] = float64(-12 * (i % 3))
	}
	for name, l := range map[string]*sheet.Listening{
		"crowd":   {LevelAtEarDB: 82, NoiseDBA: 78},
		"pink":    {LevelAtEarDB: 90, NoiseDBA: 70, NoiseShape: Pink, SpeakerResponse: smallSpeaker},
		"flat":    {LevelAtEarDB: 82, NoiseDBA: 78, NoiseShape: Flat},
		"offsets": {LevelAtEarDB: 82, NoiseDBA: 78, NoiseOffsetsDB: steep},
	} {
		c := mustNew(t, l)
		rates := []int{8000, 44100}
		if name == "offsets" {
			rates = append(rates, 192000)
		}
		for _, rate := range rates {
			got := powers(shapeFilter(c.Hall.Plus(-c.FullScaleDB), rate), rate)
			for b, want := range c.Hall.Plus(-c.FullScaleDB) {
				if _, hi := EdgesHz(b); hi <= float64(rate)/2 && !math.IsInf(want, -1) && math.Abs(got[b]-want) > 0.05 {
					t.Errorf("%s at %d Hz, %g Hz: %.3f dB, want %.3f", name, rate, MidHz(b), got[b], want)
				}
			}
		}
		const rate = 24000
		x := make([]float64, 30*rate)
		c.NewHallNoise(rate, 5).Read(x)
		at := bandsOf(t, x, rate).Plus(c.FullScaleDB)
		near(t, name+", heard, dBA", at.DBA(), c.Hall.DBA(), 0.15)
		for b := SpeechFrom; b < beyondSpeech; b++ {
			// 37 Hz in 30 s: the standard deviation is 0.13 dB.
			near(t, name+", heard, a band", at[b], c.Hall[b], 0.6)
		}
	}
}

func TestHallNoiseLaws(t *testing.T) {
	c := mustNew(t, nil)
	const n = 50000
	read := func(seed uint64, size int) []float64 {
		g := c.NewHallNoise(44100, seed)
		x := make([]float64, n)
		for i := 0; i < n; i += size {
			g.Read(x[i:min(i+size, n)])
		}
		return x
	}
	whole := read(7, n)
	for _, size := range []int{1, 480, 24577} {
		for i, v := range read(7, size) {
			if v != whole[i] {
				t.Fatalf("blocks of %d: sample %d differs", size, i)
			}
		}
	}
	same := 0
	for i, v := range read(8, n) {
		if v == whole[i] {
			same++
		}
	}
	if same > 0 {
		t.Errorf("another seed gives %d equal samples", same)
	}
	// A loud hall beside a machine is still only noise: no bursts where
	// blocks meet. Gaussian noise passes 6 sigma once in 5e8 samples.
	var sum, peak float64
	for _, v := range whole {
		sum += v * v
		peak = max(peak, math.Abs(v))
	}
	if peak > 6*math.Sqrt(sum/n) {
		t.Errorf("peak of %.1f sigma", peak/math.Sqrt(sum/n))
	}
	c.NewHallNoise(44100, 1).Read(nil)
	// Rates that leave no band give silence, not a panic.
	low := mustNew(t, &sheet.Listening{LevelAtEarDB: 82, NoiseDBA: 78, SpeakerResponse: smallSpeaker})
	low.NewCabinet(1).Process(make([]float64, 3))
	x := make([]float64, 100)
	low.NewHallNoise(100, 1).Read(x)
	for _, v := range x {
		if v != 0 {
			t.Fatal("noise in bands that are not there")
		}
	}
}

func BenchmarkCabinet(b *testing.B) {
	for _, c := range []struct {
		name string
		l    *sheet.Listening
	}{{"low cut", nil}, {"response", &sheet.Listening{LevelAtEarDB: 82, NoiseDBA: 78, SpeakerResponse: smallSpeaker}}} {
		b.Run(c.name, func(b *testing.B) {
			f := mustNew(b, c.l).NewCabinet(48000)
			x := make([]float64, 480)
			b.ReportAllocs()
			for b.Loop() {
				x[0] = 1
				f.Process(x)
			}
			b.ReportMetric(0.01*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
		})
	}
}

func BenchmarkHallNoise(b *testing.B) {
	g := mustNew(b, nil).NewHallNoise(48000, 1)
	x := make([]float64, 480)
	b.ReportAllocs()
	for b.Loop() {
		g.Read(x)
	}
	b.ReportMetric(0.01*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
