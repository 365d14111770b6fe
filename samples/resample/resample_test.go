package resample

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"tachbench/samples"
)

func noise(rateHz, channels, frames int) *samples.Sound {
	rng := rand.New(rand.NewPCG(3, uint64(frames)))
	s := samples.NewSound(rateHz, channels, frames)
	for _, ch := range s.Chans {
		for i := range ch {
			ch[i] = rng.Float64()*2 - 1
		}
	}
	return s
}

// stream converts s with the given block sizes, drawn in turn, and a
// destination of outBlock frames. Guard values behind every count must stay.
func stream(t *testing.T, r *Resampler, s *samples.Sound, inBlocks []int, outBlock int) [][]float64 {
	t.Helper()
	const guard = -99.5
	out := make([][]float64, s.Channels())
	dst := make([][]float64, s.Channels())
	for c := range dst {
		dst[c] = make([]float64, outBlock)
		for i := range dst[c] {
			dst[c][i] = guard
		}
	}
	take := func(call func() int) int {
		n := call()
		for c := range dst {
			out[c] = append(out[c], dst[c][:n]...)
			for i := range n {
				dst[c][i] = guard
			}
			if slices.ContainsFunc(dst[c][:min(n+500, outBlock)], func(v float64) bool { return v != guard }) {
				t.Fatal("touched frames past the written count")
			}
		}
		return n
	}
	for at, b := 0, 0; at < s.Frames(); b++ {
		end := min(s.Frames(), at+inBlocks[b%len(inBlocks)])
		for at < end {
			src := s.Slice(at, end).Chans
			promised := r.OutFrames(end - at)
			var taken int
			n := take(func() int {
				var n int
				taken, n = r.Process(dst, src)
				return n
			})
			if n != min(promised, outBlock) {
				t.Fatalf("OutFrames promised %d, Process wrote %d of room %d", promised, n, outBlock)
			}
			if promised <= outBlock && taken != end-at {
				t.Fatalf("took %d of %d though there was room", taken, end-at)
			}
			at += taken
		}
	}
	for take(func() int { return r.Flush(dst) }) > 0 {
	}
	return out
}

func TestBlockSizeDoesNotMatter(t *testing.T) {
	for _, c := range []struct{ from, to, channels, frames int }{
		{44100, 48000, 1, 5001},
		{48000, 44100, 6, 3000},
		{44100, 47999, 2, 3001},
		{192000, 8000, 1, 20011},
		{8000, 192000, 1, 307},
		{48000, 48000, 2, 1000},
	} {
		s := noise(c.from, c.channels, c.frames)
		want := Sound(s, c.to).Chans
		r := New(c.from, c.to, c.channels, Options{})
		for _, blocks := range [][]int{{1}, {1, 2, 3, 500, 7}, {1023, 1025}, {1 << 20}} {
			for _, outBlock := range []int{1, 333, 1 << 15} {
				if outBlock != 333 && len(blocks) == 1 && blocks[0] < 1000 {
					continue // slow and nothing new
				}
				r.Reset()
				got := stream(t, r, s, blocks, outBlock)
				for ch := range want {
					if !slices.Equal(got[ch], want[ch]) {
						t.Errorf("%d to %d, blocks %v into %d: channel %d differs (%d frames, want %d)",
							c.from, c.to, blocks, outBlock, ch, len(got[ch]), len(want[ch]))
					}
				}
			}
		}
	}
}

func TestLength(t *testing.T) {
	for _, c := range []struct{ from, to int }{{44100, 48000}, {48000, 44100}, {8000, 192000}, {192000, 8000}, {44100, 47999}, {3, 2}} {
		for _, frames := range []int{0, 1, 2, 3, 11, 12, 13, 146, 147, 148, 1000, 4411} {
			got := Sound(noise(c.from, 1, frames), c.to).Frames()
			want := int(math.Floor(float64(frames)*float64(c.to)/float64(c.from) + 0.5))
			if got != want {
				t.Errorf("%d frames from %d to %d Hz: %d frames, want %d", frames, c.from, c.to, got, want)
			}
		}
	}
	// Far beyond what memory holds: 100 years at 192 kHz.
	if got, want := scaled(605_491_200_000_000, 640, 147), int64(2_636_152_163_265_306); got != want {
		t.Errorf("scaled = %d, want %d", got, want)
	}
}

// TestImpulse says that a click stays where it was, with mirror-image flanks.
func TestImpulse(t *testing.T) {
	for _, c := range []struct{ from, to int }{{44100, 48000}, {48000, 44100}, {8000, 192000}, {192000, 8000}} {
		g := gcd(c.from, c.to)
		l, m := c.to/g, c.from/g
		k := 1 + 6000/m // the click at input frame k·m belongs at output frame k·l
		s := samples.NewSound(c.from, 1, 2*k*m+1)
		s.Chans[0][k*m] = 1
		out := Sound(s, c.to).Chans[0]
		peak := 0
		for i, v := range out {
			if v > out[peak] {
				peak = i
			}
		}
		if peak != k*l {
			t.Errorf("%d to %d: click at frame %d, want %d", c.from, c.to, peak, k*l)
		}
		for i := 1; i < min(peak, len(out)-peak); i++ {
			if d := math.Abs(out[peak-i] - out[peak+i]); d > 2e-7 {
				t.Errorf("%d to %d: flanks differ by %g, %d frames from the click", c.from, c.to, d, i)
				break
			}
		}
	}
}

func TestConstant(t *testing.T) {
	for _, c := range []struct{ from, to int }{{44100, 48000}, {48000, 8000}, {44100, 47999}, {11025, 192000}} {
		s := samples.NewSound(c.from, 1, c.from)
		for i := range s.Chans[0] {
			s.Chans[0][i] = 0.5
		}
		for i, v := range middle(Sound(s, c.to)) {
			if math.Abs(v-0.5) > 1e-13 {
				t.Fatalf("%d to %d: constant 0.5 became %v at frame %d", c.from, c.to, v, i)
			}
		}
	}
}

func TestChannelsAreIndependent(t *testing.T) {
	s := noise(48000, 6, 2000)
	s.Mask = 0x3f
	out := Sound(s, 44100)
	if out.Mask != s.Mask || out.Channels() != 6 || out.RateHz != 44100 {
		t.Errorf("got %d Hz, %d channels, mask %#x", out.RateHz, out.Channels(), out.Mask)
	}
	for c := range s.Chans {
		one := Sound(&samples.Sound{RateHz: 48000, Chans: s.Chans[c : c+1]}, 44100)
		if !slices.Equal(one.Chans[0], out.Chans[c]) {
			t.Errorf("channel %d depends on its neighbours", c)
		}
	}
}

func TestSameRateIsTheSameSound(t *testing.T) {
	s := noise(44100, 2, 100)
	if Sound(s, 44100) != s {
		t.Error("equal rates gave another sound")
	}
}

func TestSilenceStaysSilent(t *testing.T) {
	for _, v := range Sound(samples.NewSound(44100, 1, 5000), 48000).Chans[0] {
		if v != 0 {
			t.Fatal("silence became sound")
		}
	}
}

func TestCheck(t *testing.T) {
	for _, c := range []struct {
		from, to int
		want     string
	}{
		{44100, 48000, ""},
		{8000, 192000, ""},
		{0, 48000, "cannot convert 0 Hz to 48000 Hz: rates must be positive"},
		{48000, -1, "cannot convert 48000 Hz to -1 Hz: rates must be positive"},
		{4294967295, 48000, "cannot convert 4294967295 Hz to 48000 Hz: rates must be at most 10000000 Hz"},
		{5000000, 5000, "cannot convert 5000000 Hz to 5000 Hz: rates must lie within a factor of 1000"},
	} {
		got := ""
		if err := Check(c.from, c.to); err != nil {
			got = err.Error()
		}
		if got != c.want {
			t.Errorf("%d to %d: %q, want %q", c.from, c.to, got, c.want)
		}
	}
}

func TestPanicsOnTheCallersBug(t *testing.T) {
	two := [][]float64{make([]float64, 4), make([]float64, 4)}
	uneven := [][]float64{make([]float64, 4), make([]float64, 3)}
	for name, f := range map[string]func(){
		"rates":         func() { New(0, 1, 1, Options{}) },
		"channels":      func() { New(1, 2, 0, Options{}) },
		"pass band":     func() { New(1, 2, 1, Options{PassBand: 1}) },
		"pass band NaN": func() { New(1, 2, 1, Options{PassBand: math.NaN()}) },
		"stop band":     func() { New(1, 2, 1, Options{StopDB: 10}) },
		"too few":       func() { New(1, 2, 1, Options{}).Process(two[:1], two) },
		"uneven":        func() { New(1, 2, 2, Options{}).Process(two, uneven) },
		"after Flush": func() {
			r := New(1, 2, 2, Options{})
			r.Flush(two)
			r.Process(two, two)
		},
	} {
		t.Run(name, func(t *testing.T) {
			defer func() {
				if recover() == nil {
					t.Error("no panic")
				}
			}()
			f()
		})
	}
}

// TestOptions: a wider flat band and a deeper stop band hold what they say.
func TestOptions(t *testing.T) {
	r := New(48000, 44100, 1, Options{PassBand: 0.97, StopDB: 140})
	for _, c := range []struct{ hz, below, within float64 }{
		{21300, 0, 1e-4}, // 0.966 of 22050
		{22060, -130, 0},
	} {
		r.Reset()
		out := stream(t, r, sine(48000, c.hz, 24000), []int{4096}, 8192)
		x := middle(&samples.Sound{RateHz: 44100, Chans: out})
		if c.below < 0 {
			if db := samples.AmplitudeDB(samples.RMS(x)); db > c.below {
				t.Errorf("%g Hz: %.1f dB, want below %g", c.hz, db, c.below)
			}
			continue
		}
		amp, _, _ := fitSine(x, 2*math.Pi*c.hz/44100)
		if db := samples.AmplitudeDB(amp); math.Abs(db) > c.within {
			t.Errorf("%g Hz: gain %+.6f dB", c.hz, db)
		}
	}
}

func TestProcessDoesNotAllocate(t *testing.T) {
	src := noise(44100, 2, 512).Chans
	dst := samples.NewSound(48000, 2, 600).Chans
	for _, to := range []int{48000, 47999} {
		r := New(44100, to, 2, Options{})
		if n := testing.AllocsPerRun(20, func() { r.Process(dst, src) }); n != 0 {
			t.Errorf("to %d: %g allocations a block", to, n)
		}
	}
}

func BenchmarkProcess(b *testing.B) {
	for _, c := range []struct{ from, to, channels int }{
		{44100, 48000, 1}, {48000, 44100, 1}, {44100, 48000, 2}, {44100, 47999, 1}, {48000, 8000, 1}, {48000, 192000, 1},
	} {
		b.Run(fmt.Sprintf("%d-%d-%dch", c.from, c.to, c.channels), func(b *testing.B) {
			const block = 4096
			src := noise(c.from, c.channels, block).Chans
			r := New(c.from, c.to, c.channels, Options{})
			dst := samples.NewSound(c.to, c.channels, block*c.to/c.from+8).Chans
			b.ReportAllocs()
			for b.Loop() {
				r.Process(dst, src)
			}
			b.ReportMetric(float64(b.N)*block/float64(c.from)/b.Elapsed().Seconds(), "x-realtime")
		})
	}
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		New(44100, 48000, 1, Options{})
	}
}
