package loudness

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func noise(seed uint64, n int, rms float64) []float64 {
	r := rand.New(rand.NewPCG(seed, 7))
	x := make([]float64, n)
	g := 1.0
	for i := range x {
		if i%3000 == 0 {
			g = math.Pow(10, -2*r.Float64())
		}
		x[i] = rms * g * r.NormFloat64()
	}
	return x
}

func same(a, b Reading) bool {
	return a.Absent == b.Absent && math.Float64bits(a.Value) == math.Float64bits(b.Value)
}

// Cutting the stream differently changes no bit of any result.
func TestBlockSizeDoesNotMatter(t *testing.T) {
	for _, c := range []struct{ rate, channels, frames int }{
		{48000, 2, 200001}, {8000, 1, 40003}, {8363, 1, 40003}, {11025, 3, 50000}, {192000, 1, 700000}, {22050, 6, 90000}, {44100, 5, 150000},
	} {
		block := make([][]float64, c.channels)
		for i := range block {
			block[i] = noise(uint64(i+1), c.frames, 0.2)
		}
		block[0][1234] = math.NaN()
		block[c.channels-1][c.frames-5] = math.Inf(-1)
		whole := measure(t, c.rate, 0, block)
		want, series := whole.Result(), whole.ShortTermLUFS()
		r := rand.New(rand.NewPCG(9, 9))
		for _, size := range []int{1, 7, 441, 480, 4096, 0} {
			m, _ := New(c.rate, c.channels, 0)
			part := make([][]float64, c.channels)
			for at := 0; at < c.frames; {
				n := size
				if n == 0 {
					n = r.IntN(5000)
				}
				n = min(n, c.frames-at)
				for i := range part {
					part[i] = block[i][at : at+n]
				}
				m.Write(part)
				at += n
			}
			got := m.Result()
			if !same(got.IntegratedLUFS, want.IntegratedLUFS) || !same(got.RangeLU, want.RangeLU) ||
				!same(got.MomentaryMaxLUFS, want.MomentaryMaxLUFS) || !same(got.ShortTermMaxLUFS, want.ShortTermMaxLUFS) ||
				got.MomentaryMaxAtS != want.MomentaryMaxAtS || got.Unusable != want.Unusable || got.Unusable != 2 {
				t.Errorf("%+v, blocks of %d: %+v, want %+v", c, size, got, want)
			}
			if !slices.Equal(m.ShortTermLUFS(), series) {
				t.Errorf("%+v, blocks of %d: another short-term series", c, size)
			}
		}
	}
}

// A level change changes every loudness by as much (BS.1770 is a power mean)
// and the range not at all, as long as no gate is crossed.
func TestGainShiftsLoudness(t *testing.T) {
	x := noise(3, 48000*8, 0.1)
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = v / 2
	}
	a, b := measure(t, 48000, 0, stereo(x)).Result(), measure(t, 48000, 0, stereo(y)).Result()
	shift := 20 * math.Log10(2)
	wantNear(t, "I", b.IntegratedLUFS, a.IntegratedLUFS.Value-shift, 1e-9)
	wantNear(t, "max M", b.MomentaryMaxLUFS, a.MomentaryMaxLUFS.Value-shift, 1e-9)
	wantNear(t, "max S", b.ShortTermMaxLUFS, a.ShortTermMaxLUFS.Value-shift, 1e-9)
	wantNear(t, "LRA", b.RangeLU, a.RangeLU.Value, 1e-9)
}

// A slow way straight from the text of BS.1770-5 and the step rules, with the
// direct form of the filter, agrees with the meter.
func TestAgainstTheTextbookWay(t *testing.T) {
	for _, rate := range []int{8000, 8363, 44100, 48000} {
		n := rate*5 + 77
		x, y := noise(11, n, 0.1), noise(12, n, 0.05)
		sq := make([]float64, n) // running sum of G·y²
		w := newWeighting(float64(rate))
		for _, ch := range [][]float64{x, y} {
			var v, u, q [3]float64
			sum := 0.0
			for i, s := range ch {
				u = [3]float64{s, u[0], u[1]}
				v = [3]float64{w.b0*u[0] + w.b1*u[1] + w.b2*u[2] - w.a1*v[0] - w.a2*v[1], v[0], v[1]}
				q = [3]float64{v[0] - 2*v[1] + v[2] - w.c1*q[0] - w.c2*q[1], q[0], q[1]}
				sum += q[0] * q[0]
				sq[i] += sum
			}
		}
		power := func(from, to int) float64 {
			s := sq[to-1]
			if from > 0 {
				s -= sq[from-1]
			}
			return s / float64(to-from)
		}
		grid := func(k int) int { return int(math.Round(float64(k) * float64(rate) / 100)) }
		var maxM, maxS, sum float64
		var blocks []float64
		for k := 40; grid(k) <= n; k++ {
			maxM = max(maxM, power(grid(k-40), grid(k)))
			if k >= 300 {
				maxS = max(maxS, power(grid(k-300), grid(k)))
			}
			if k%10 == 0 {
				blocks = append(blocks, power(grid(k-40), grid(k)))
			}
		}
		gate := 0.0
		for pass := range 2 {
			sum = 0
			count := 0
			for _, p := range blocks {
				if l := -0.691 + 10*math.Log10(p); l > -70 && (pass == 0 || l > gate) {
					sum += p
					count++
				}
			}
			sum /= float64(count)
			gate = -0.691 + 10*math.Log10(sum) - 10
		}
		r := measure(t, rate, 0x3, [][]float64{x, y}).Result()
		name := fmt.Sprint(rate, " Hz: ")
		wantNear(t, name+"I", r.IntegratedLUFS, gate+10, 1e-8)
		wantNear(t, name+"max M", r.MomentaryMaxLUFS, -0.691+10*math.Log10(maxM), 1e-8)
		wantNear(t, name+"max S", r.ShortTermMaxLUFS, -0.691+10*math.Log10(maxS), 1e-8)
	}
}

func TestTooShortOrSilent(t *testing.T) {
	for _, c := range []struct {
		frames               int
		x                    float64
		integrated, m, s, rg string
	}{
		{0, 1, ReasonTooShortForBlock, ReasonTooShortForBlock, ReasonTooShortForShortTerm, ReasonTooShortForShortTerm},
		{1, 1, ReasonTooShortForBlock, ReasonTooShortForBlock, ReasonTooShortForShortTerm, ReasonTooShortForShortTerm},
		{19199, 1, ReasonTooShortForBlock, ReasonTooShortForBlock, ReasonTooShortForShortTerm, ReasonTooShortForShortTerm},
		{19200, 1, "", "", ReasonTooShortForShortTerm, ReasonTooShortForShortTerm},
		{143999, 1, "", "", ReasonTooShortForShortTerm, ReasonTooShortForShortTerm},
		{144000, 1, "", "", "", ""},
		{144000, 0, ReasonTooQuiet, ReasonSilent, ReasonSilent, ReasonTooQuiet},
		{144000, 1e-6, ReasonTooQuiet, "", "", ReasonTooQuiet},
	} {
		x := make([]float64, c.frames)
		for i := range x {
			x[i] = c.x * float64(1-2*(i/24%2)) // 1 kHz square
		}
		r := measure(t, 48000, 0x4, [][]float64{x}).Result()
		for _, p := range []struct {
			what string
			got  Reading
			want string
		}{{"I", r.IntegratedLUFS, c.integrated}, {"M", r.MomentaryMaxLUFS, c.m}, {"S", r.ShortTermMaxLUFS, c.s}, {"LRA", r.RangeLU, c.rg}} {
			if p.got.Absent != p.want || p.got.OK() == math.IsNaN(p.got.Value) {
				t.Errorf("%d frames of %g: %s = %+v, want absent %q", c.frames, c.x, p.what, p.got, p.want)
			}
		}
	}
}

// After a very loud passage the floor must be found again, exactly: sums that
// are carried on by subtracting would leave rounding dust behind.
func TestNothingIsLeftOfALoudPassage(t *testing.T) {
	x := append(pieces(48000, 997, piece{4, 120}), make([]float64, 48000*8)...)
	m := measure(t, 48000, 0x4, [][]float64{x})
	s := m.ShortTermLUFS()
	if last := s[len(s)-1]; !math.IsInf(last, -1) && last > -300 {
		t.Errorf("5 s after a +120 dBFS tone short-term still reads %g LUFS", last)
	}
}

func TestNewRefuses(t *testing.T) {
	for _, c := range [][2]int{{7999, 1}, {192001, 1}, {48000, 0}, {48000, 17}, {-1, -1}} {
		if m, err := New(c[0], c[1], 0); err == nil || m != nil {
			t.Errorf("New(%d, %d) gave no error", c[0], c[1])
		}
	}
}

func TestWriteDoesNotAllocateOrChange(t *testing.T) {
	x := noise(5, 4800, 0.1)
	keep := slices.Clone(x)
	m, _ := New(48000, 2, 0)
	m.history = make([]float64, 0, 10000)
	if n := testing.AllocsPerRun(50, func() { m.Write(stereo(x)) }); n > 1 { // 1: the test's own stereo()
		t.Errorf("%v allocations a block", n)
	}
	if !slices.Equal(x, keep) {
		t.Error("the block was changed")
	}
}

func BenchmarkMeter(b *testing.B) {
	for _, c := range []struct{ rate, channels int }{{48000, 1}, {48000, 2}, {48000, 6}, {8000, 1}} {
		b.Run(fmt.Sprintf("%dHz%dch", c.rate, c.channels), func(b *testing.B) {
			block := make([][]float64, c.channels)
			for i := range block {
				block[i] = noise(uint64(i), 4096, 0.1)
			}
			m, _ := New(c.rate, c.channels, 0)
			b.ReportAllocs()
			for b.Loop() {
				m.Write(block)
			}
			b.ReportMetric(float64(b.N)*4096/float64(c.rate)/b.Elapsed().Seconds(), "x-realtime")
		})
	}
}
