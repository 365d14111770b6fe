package note_test

import (
	"math"
	"reflect"
	"testing"

	"github.com/gopxl/beep/v2"

	"tachbench/samples"
	"tachbench/samples/bank"
	"tachbench/samples/crank"
	"tachbench/samples/tone"
	"tachbench/synth/curve"
	"tachbench/synth/note"
)

var twin = crank.Layout{Cylinders: 2, Strokes: 2, Firing: []float64{0, 180}}

// recording makes one engine recording with its true track.
func recording(l crank.Layout, name string, rpm func(float64) float64, seconds, load float64, channels int, seed uint64) bank.Recording {
	s, track := tone.Engine(tone.EngineSpec{Layout: l, RPM: rpm, DurationS: seconds, Channels: channels, SNRDB: 20, Seed: seed})
	return bank.Recording{Name: name, Sound: s, Track: track, Load: load}
}

// testBank is a pull, two holds and a coast-down of a two-stroke twin.
func testBank(t testing.TB, channels int) *bank.Bank {
	t.Helper()
	b, err := bank.Build(twin, []bank.Recording{
		recording(twin, "hold", tone.Hold(3000), 3, 1, channels, 1),
		recording(twin, "hold2", tone.Hold(6000), 3, 1, channels, 2),
		recording(twin, "pull", tone.Pull(1500, 8000, 9), 9, 1, 1, 3),
		recording(twin, "coast", tone.Pull(8000, 1500, 6), 6, 0, 1, 4),
	})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// render fills a whole note in blocks of the given sizes, used in turn.
func render(n *note.Note, frames int, blocks ...int) *samples.Sound {
	out := samples.NewSound(n.RateHz(), n.Channels(), frames)
	for at, k := 0, 0; at < frames; k++ {
		size := min(blocks[k%len(blocks)], frames-at)
		part := out.Slice(at, at+size)
		got := n.Fill(part.Chans)
		at += got
		if got < size {
			return out.Slice(0, at)
		}
	}
	return out
}

func sweep(t testing.TB, from, to, seconds float64) *curve.Curve {
	t.Helper()
	c, err := curve.Sweep(from, to, 1, seconds)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestOutputDoesNotDependOnBlockSize(t *testing.T) {
	b := testBank(t, 2)
	const frames = 48000
	var want *samples.Sound
	for _, blocks := range [][]int{{frames}, {1}, {16}, {17, 3, 480}, {4096}} {
		n := note.New(b, note.Options{Seed: 7, Source: sweep(t, 1600, 8000, 1), Frames: frames})
		got := render(n, frames, blocks...)
		if want == nil {
			want = got
		} else if !reflect.DeepEqual(got, want) {
			t.Errorf("blocks of %v give another sound than one block", blocks)
		}
	}
}

func TestMovesAreHeardTheSameAtAnyBlockSize(t *testing.T) {
	b := testBank(t, 1)
	play := func(split int) *samples.Sound {
		n := note.New(b, note.Options{Seed: 7})
		out := samples.NewSound(48000, 1, 48000)
		for at, move := 0, 0; at < 48000; move++ {
			n.Set(2000+500*float64(move), math.Mod(float64(move)*0.3, 1))
			for end := at + 4800; at < end; {
				k := min(split, end-at)
				at += n.Fill(out.Slice(at, at+k).Chans)
			}
		}
		return out
	}
	if want := play(4800); !reflect.DeepEqual(play(7), want) || !reflect.DeepEqual(play(960), want) {
		t.Error("the same moves at the same frames give another sound in other blocks")
	}
}

func TestSeedDecides(t *testing.T) {
	b := testBank(t, 1)
	mk := func(seed uint64) *samples.Sound {
		return render(note.New(b, note.Options{Seed: seed, Source: sweep(t, 4000, 4001, 1)}), 48000, 512)
	}
	if !reflect.DeepEqual(mk(1), mk(1)) {
		t.Error("one seed, two sounds")
	}
	if reflect.DeepEqual(mk(1), mk(2)) {
		t.Error("two seeds, one sound")
	}
}

func TestNothingPastTheReturnedCountIsTouched(t *testing.T) {
	n := note.New(testBank(t, 1), note.Options{Source: sweep(t, 3000, 4000, 1), Frames: 1000})
	buf := make([]float64, 1600)
	for i := range buf {
		buf[i] = 99
	}
	if got := n.Fill([][]float64{buf}); got != 1000 {
		t.Fatalf("Fill returned %d, want 1000", got)
	}
	for i, v := range buf[1000:] {
		if v != 99 {
			t.Fatalf("frame %d past the end was touched", i)
		}
	}
	if got := n.Fill([][]float64{buf}); got != 0 {
		t.Errorf("Fill after the end returned %d", got)
	}
}

func TestStreamIsTheSameSoundForBeep(t *testing.T) {
	for _, channels := range []int{1, 2} {
		b := testBank(t, channels)
		opt := note.Options{Seed: 3, Source: sweep(t, 2000, 7000, 0.2), Frames: 9600}
		want := render(note.New(b, opt), 9600, 9600)
		var s beep.Streamer = note.New(b, opt)
		buf := make([][2]float64, 700)
		for at := 0; ; {
			k, ok := s.Stream(buf)
			if !ok {
				if at != 9600 {
					t.Errorf("%d channels: ended after %d frames, want 9600", channels, at)
				}
				break
			}
			for i := 0; i < k; i++ {
				if buf[i][0] != want.Chans[0][at+i] || buf[i][1] != want.Chans[channels-1][at+i] {
					t.Fatalf("%d channels: frame %d differs", channels, at+i)
				}
			}
			at += k
		}
		if s.Err() != nil {
			t.Error(s.Err())
		}
	}
}

func TestReuseKeepsItsDistance(t *testing.T) {
	b := testBank(t, 1)
	var uses []note.Use
	n := note.New(b, note.Options{Seed: 1, Source: sweep(t, 3000, 3000, 8), OnUse: func(u note.Use) { uses = append(uses, u) }})
	render(n, 8*48000, 4096)
	last := map[int]int{}
	for i, u := range uses {
		if k, ok := last[u.Grain]; ok && (i-k <= 3 || u.TimeS-uses[k].TimeS < 1) {
			t.Fatalf("grain %d at %.3f s came back after %d others, %.3f s", u.Grain, u.TimeS, i-k-1, u.TimeS-uses[k].TimeS)
		}
		last[u.Grain] = i
	}
	if len(uses) < 380 {
		t.Errorf("%d cycles in 8 s at 3000 RPM of a two-stroke, want 400 or so", len(uses))
	}
}

func TestRequestsOutOfReachAreHeldAndCounted(t *testing.T) {
	b := testBank(t, 1)
	n := note.New(b, note.Options{Source: sweep(t, 15000, 15000, 1)})
	s := render(n, 24000, 512)
	_, hi := b.ReachRPM()
	if math.Abs(n.RPM()-hi) > 1 || math.Abs(n.HeldS()-0.5) > 0.01 {
		t.Errorf("15000 RPM: sounds at %.0f (reach %.0f), held for %.3f s of 0.5", n.RPM(), hi, n.HeldS())
	}
	for _, v := range s.Chans[0] {
		if math.IsNaN(v) || math.Abs(v) > 4 {
			t.Fatal("out of bounds")
		}
	}
	n = note.New(b, note.Options{})
	for _, bad := range []float64{math.NaN(), math.Inf(1), -3, 0} {
		n.Set(bad, bad)
	}
	render(n, 4800, 512)
	if rpm := n.RPM(); math.IsNaN(rpm) || rpm < 1000 {
		t.Errorf("after nonsense moves the note runs at %g RPM", rpm)
	}
}

// A layer without grains near the revs must not sound: the other stands in,
// turned down, and the revs stay right (the level is that of the pull, less
// 10 dB for the whole of the load).
func TestThinLayerDoesNotRuinTheNote(t *testing.T) {
	pull := recording(twin, "pull", tone.Pull(1500, 8000, 9), 9, 1, 1, 3)
	shut := recording(twin, "shut", tone.Hold(2000), 2, 0, 1, 4)
	b, err := bank.Build(twin, []bank.Recording{pull, shut})
	if err != nil {
		t.Fatal(err)
	}
	level := func(load float64) float64 {
		c, err := curve.Hold(6000, load, 2)
		if err != nil {
			t.Fatal(err)
		}
		return samples.AmplitudeDB(samples.RMS(render(note.New(b, note.Options{Source: c}), 96000, 4096).Chans[0][4800:]))
	}
	if d := level(1) - level(0); math.Abs(d-10) > 0.7 {
		t.Errorf("overrun without recordings lies %.1f dB under full load, want 10", d)
	}
	var layers [2]int
	c, _ := curve.Hold(6000, 0, 1)
	render(note.New(b, note.Options{Source: c, OnUse: func(u note.Use) { layers[u.Layer]++ }}), 48000, 4096)
	if layers[0] > 0 || layers[1] == 0 {
		t.Errorf("grains by layer %v: the hold at 2000 RPM must not be stretched to 6000", layers)
	}
}

func TestStopFadesAndEnds(t *testing.T) {
	n := note.New(testBank(t, 1), note.Options{})
	render(n, 4800, 480)
	n.Stop()
	s := render(n, 48000, 480)
	if s.Frames() > 480+16 || s.Frames() < 400 {
		t.Fatalf("%d frames after Stop, want 480 (10 ms) or so", s.Frames())
	}
	if end := math.Abs(s.Chans[0][s.Frames()-1]); end > 1e-3 {
		t.Errorf("ends at %g, not at silence", end)
	}
}

func TestFillDoesNotAllocate(t *testing.T) {
	n := note.New(testBank(t, 1), note.Options{Source: sweep(t, 1500, 8000, 600)})
	buf := [][]float64{make([]float64, 480)}
	if a := testing.AllocsPerRun(200, func() { n.Fill(buf) }); a != 0 {
		t.Errorf("%g allocations a block, want none", a)
	}
}

func BenchmarkNote(b *testing.B) {
	bk := testBank(b, 1)
	for _, k := range []struct {
		name     string
		from, to float64
	}{{"hold", 5000, 5000}, {"sweep", 1500, 8000}} {
		b.Run(k.name, func(b *testing.B) {
			buf := [][]float64{make([]float64, 480)}
			n := note.New(bk, note.Options{Source: sweep(b, k.from, k.to, 8)})
			b.ReportAllocs()
			for b.Loop() {
				n.Fill(buf)
				if n.Position() >= 8*48000 {
					n = note.New(bk, note.Options{Source: sweep(b, k.from, k.to, 8)})
				}
			}
			b.ReportMetric(float64(b.N)*480/48000/b.Elapsed().Seconds(), "x-realtime")
		})
	}
}
