package band

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func measure(t testing.TB, rateHz int, block ...[]float64) []Spectrum {
	t.Helper()
	m, err := New(rateHz, len(block))
	if err != nil {
		t.Fatal(err)
	}
	m.Write(block)
	return m.Result()
}

func white(seed uint64, n int, rms float64) []float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, n)
	for i := range x {
		x[i] = rms * r.NormFloat64()
	}
	return x
}

func sine(rateHz, n int, hz, amplitude float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * math.Sin(2*math.Pi*hz*float64(i)/float64(rateHz))
	}
	return x
}

func meanSquare(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v * v
	}
	return sum / float64(len(x))
}

// Parseval: the bins hold the energy of the sound, wherever it lies in time.
func TestEnergyIsKept(t *testing.T) {
	for _, rate := range []int{8000, 8363, 44100, 192000} {
		for _, n := range []int{1, 2, 777, rate / 2, frameSize(rate), frameSize(rate) * 3 / 4, frameSize(rate)*3/4 - 1, 3*rate + 17} {
			for name, x := range map[string][]float64{"white": white(1, n, 0.1), "first": make([]float64, n), "last": make([]float64, n), "DC": make([]float64, n)} {
				switch name {
				case "first":
					x[0] = 1
				case "last":
					x[n-1] = -1
				case "DC":
					for i := range x {
						x[i] = 0.5
					}
				}
				var sum float64
				for _, p := range measure(t, rate, x)[0].Power {
					sum += p
				}
				if want := meanSquare(x); math.Abs(sum-want) > 1e-9*want {
					t.Errorf("%s, %d Hz, %d frames: bins hold %g, the sound %g", name, rate, n, sum, want)
				}
			}
		}
	}
}

// A sine at the middle of a band belongs to that band: -3.01 dB at full scale.
func TestSineInItsBand(t *testing.T) {
	for _, rate := range []int{8000, 22050, 44100, 48000, 96000} {
		for x := FirstX; x <= LastX && MidHz(x) < float64(rate)/2*0.95; x++ {
			bands := measure(t, rate, sine(rate, 4*rate, MidHz(x), 1))[0].ThirdOctaves()
			for _, b := range bands {
				tolerance := 0.05
				if x < -14 { // the band is only a few bins wide
					tolerance = 0.3
				}
				if b.X == x && math.Abs(b.LevelDB+3.0103) > tolerance {
					t.Errorf("%d Hz, sine at %g Hz: its band reads %.3f dB, want -3.01", rate, MidHz(x), b.LevelDB)
				}
				// Two bands away there must be little; right at the bottom the
				// bands are a few bins wide.
				if d := b.X - x; (d > 1 || d < -1) && x >= -11 && b.X >= -14 && b.LevelDB > -33 {
					t.Errorf("%d Hz, sine at %g Hz: band %g Hz reads %.1f dB", rate, MidHz(x), b.NominalHz, b.LevelDB)
				}
			}
		}
	}
}

// White noise of mean square p has p·(high-low)/(rate/2) in a band; the level
// of a steady noise read over T seconds scatters by 4.34/sqrt(width·T) dB.
func TestWhiteNoiseByBandwidth(t *testing.T) {
	const rate, seconds = 48000, 20
	bands := measure(t, rate, white(2, rate*seconds, 0.1))[0].ThirdOctaves()
	if len(bands) != 31 {
		t.Fatalf("%d bands, want 31", len(bands))
	}
	for _, b := range bands {
		low, high := Edges(b.X)
		want := -20 + 10*math.Log10((high-low)/(rate/2))
		if sigma := 4.34 / math.Sqrt((high-low)*seconds); math.Abs(b.LevelDB-want) > 4*sigma+0.01 {
			t.Errorf("band %g Hz: %.2f dB, want %.2f ± %.2f", b.NominalHz, b.LevelDB, want, 4*sigma)
		}
	}
}

func TestWeightedLevels(t *testing.T) {
	for _, c := range []struct{ hz, a, c float64 }{{1000, 0, 0}, {100, -19.143, -0.300}, {10000, -2.492, -4.405}} {
		s := measure(t, 48000, sine(48000, 96000, c.hz, 1))[0]
		for _, w := range []struct {
			name      string
			got, want float64
		}{{"A", s.LevelDB(AWeightDB), c.a}, {"C", s.LevelDB(CWeightDB), c.c}, {"Z", s.LevelDB(nil), 0}} {
			if math.Abs(w.got-(w.want-3.0103)) > 0.02 {
				t.Errorf("%s level of a full sine at %g Hz: %.3f dB, want %.3f", w.name, c.hz, w.got, w.want-3.0103)
			}
		}
	}
}

func TestBandsUnderHalfTheRate(t *testing.T) {
	for _, c := range []struct {
		rate    int
		last    float64
		partial bool
	}{{8000, 4000, true}, {22050, 10000, true}, {44100, 20000, true}, {48000, 20000, false}, {192000, 20000, false}} {
		bands := measure(t, c.rate, white(1, 100, 1))[0].ThirdOctaves()
		if b := bands[len(bands)-1]; b.NominalHz != c.last || b.Partial != c.partial {
			t.Errorf("%d Hz ends with %+v, want %g, partial %v", c.rate, b, c.last, c.partial)
		}
	}
}

// lowpassed is white noise through a long windowed sinc.
func lowpassed(rateHz int, n int, hz float64) []float64 {
	x, h := white(9, n, 0.1), make([]float64, 301)
	fc := hz / float64(rateHz)
	for i := range h {
		d := float64(i - 150)
		h[i] = 2 * fc
		if d != 0 {
			h[i] = math.Sin(2*math.Pi*fc*d) / (math.Pi * d)
		}
		h[i] *= 0.42 + 0.5*math.Cos(math.Pi*d/150) + 0.08*math.Cos(2*math.Pi*d/150) // Blackman
	}
	out := make([]float64, n)
	for i := range out {
		for j, c := range h {
			if k := i - j; k >= 0 {
				out[i] += c * x[k]
			}
		}
	}
	return out
}

func TestBandwidth(t *testing.T) {
	const rate = 48000
	for _, hz := range []float64{4000, 8000, 11025, 16000, 20000} {
		x := lowpassed(rate, rate, hz)
		for _, floor := range []float64{0, 1.5e-5} { // 16 bit dither
			y := slices.Clone(x)
			for i, d := range white(77, len(y), floor) {
				y[i] += d
			}
			b, ok := measure(t, rate, y)[0].Bandwidth()
			if !ok || math.Abs(b.EdgeHz-hz) > 400 || b.DropDB < 30 {
				t.Errorf("noise up to %g Hz, floor %g: %+v %v", hz, floor, b, ok)
			}
		}
	}
	// Near misses: flat to the top, a slow fall, nothing at all, one tone.
	pinkish := white(3, rate, 0.1)
	for pass := range 2 {
		y := 0.0
		for i, v := range pinkish {
			y += 0.1 * (v - y) // 6 dB an octave each
			pinkish[i] = y * float64(1+pass)
		}
	}
	steep := white(5, rate, 0.1) // 48 dB an octave over 2 kHz, as steep as equipment gets
	for range 8 {
		y := 0.0
		for i, v := range steep {
			y += 0.23 * (v - y)
			steep[i] = y
		}
	}
	for name, x := range map[string][]float64{"steep": steep, "white": white(4, rate, 0.1), "slow fall": pinkish, "silence": make([]float64, rate), "tone": sine(rate, rate, 997, 0.5), "high tone": sine(rate, rate, 9123, 0.5)} {
		if b, ok := measure(t, rate, x)[0].Bandwidth(); ok {
			t.Errorf("%s: found an edge %+v", name, b)
		}
	}
}

func TestBlockSizeDoesNotMatter(t *testing.T) {
	x := white(6, 30011, 0.3)
	x[500] = math.NaN()
	x[501] = math.Inf(1)
	want := measure(t, 8000, x)[0]
	for _, size := range []int{1, 480, 4096, 30000} {
		m, _ := New(8000, 2)
		for part := range slices.Chunk(x, size) {
			m.Write([][]float64{part, part})
			if size == 480 {
				m.Result()
			}
		}
		for _, got := range m.Result() {
			if !slices.Equal(got.Power, want.Power) {
				t.Errorf("blocks of %d give another spectrum", size)
			}
		}
	}
	if math.IsNaN(want.LevelDB(nil)) {
		t.Error("a broken sample spoiled the spectrum")
	}
}

// Bin k reaches half a bin to each side of k·BinHz.
func TestBetweenByHand(t *testing.T) {
	s := Spectrum{RateHz: 80, BinHz: 10, Power: []float64{1, 2, 4, 8, 16}}
	for _, c := range []struct{ low, high, want float64 }{
		{-5, 45, 31}, {5, 15, 2}, {15, 25, 4}, {10, 15, 1}, {5, 10, 1}, {12.5, 17.5, 0.5 + 1}, {20, 20, 0}, {30, 20, 0}, {35, 1e9, 16}, {100, 200, 0},
	} {
		if got := s.Between(c.low, c.high); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%g to %g Hz: %g, want %g", c.low, c.high, got, c.want)
		}
	}
}

func TestMeanOfChannels(t *testing.T) {
	s := measure(t, 48000, sine(48000, 48000, 1000, 1), make([]float64, 48000))
	if got := Mean(s).LevelDB(nil); math.Abs(got+6.0206) > 0.01 {
		t.Errorf("a sine in one of two channels: %.3f dB, want -6.02", got)
	}
	if got := s[1].LevelDB(nil); !math.IsInf(got, -1) {
		t.Errorf("the silent channel reads %g dB", got)
	}
}

func TestNewRefuses(t *testing.T) {
	for _, c := range [][2]int{{7999, 1}, {192001, 1}, {48000, 0}, {48000, 17}} {
		if m, err := New(c[0], c[1]); err == nil || m != nil {
			t.Errorf("New(%d, %d) gave no error", c[0], c[1])
		}
	}
}

func FuzzMeter(f *testing.F) {
	f.Add(uint32(8000), 1e300, uint16(5000), uint16(4096))
	f.Add(uint32(11025), math.Inf(-1), uint16(1), uint16(1))
	f.Fuzz(func(t *testing.T, rate uint32, scale float64, frames, block uint16) {
		if rate > 50000 {
			rate %= 50000
		}
		m, err := New(int(rate), 1)
		if err != nil {
			return
		}
		x := white(uint64(frames), int(frames), scale)
		for part := range slices.Chunk(x, int(block)+1) {
			m.Write([][]float64{part})
		}
		s := m.Result()[0]
		for _, b := range s.ThirdOctaves() {
			if math.IsNaN(b.LevelDB) || math.IsInf(b.LevelDB, 1) {
				t.Fatalf("%+v", b)
			}
		}
		if a := s.LevelDB(AWeightDB); math.IsNaN(a) || math.IsInf(a, 1) {
			t.Fatalf("A level %g", a)
		}
		s.Bandwidth()
	})
}

func BenchmarkMeter(b *testing.B) {
	for _, c := range []struct{ rate, channels int }{{48000, 2}, {8000, 1}, {192000, 1}} {
		b.Run(fmt.Sprintf("%dHz%dch", c.rate, c.channels), func(b *testing.B) {
			block := make([][]float64, c.channels)
			for i := range block {
				block[i] = white(uint64(i), 1<<17, 0.1)
			}
			m, _ := New(c.rate, c.channels)
			b.ReportAllocs()
			for b.Loop() {
				m.Write(block)
			}
			b.ReportMetric(float64(b.N)*(1<<17)/float64(c.rate)/b.Elapsed().Seconds(), "x-realtime")
		})
	}
}
