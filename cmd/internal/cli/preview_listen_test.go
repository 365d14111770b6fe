package cli

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gopxl/beep/v2"

	"tachbench/mixplan/ear"
	"tachbench/mixplan/listen"
	"tachbench/mixplan/scene"
	"tachbench/samples/sheet"
)

// fakePlayer takes a block whenever it is asked to.
type fakePlayer struct {
	lost    chan error
	refuses error
	s       beep.Streamer
	begun   chan struct{}
}

func newFakePlayer() *fakePlayer {
	return &fakePlayer{lost: make(chan error, 1), begun: make(chan struct{})}
}

func (f *fakePlayer) Play(s beep.Streamer) error {
	f.s = s
	close(f.begun)
	return f.refuses
}
func (f *fakePlayer) Lost() <-chan error { return f.lost }
func (f *fakePlayer) Underruns() int64   { return 0 }
func (f *fakePlayer) take(frames int) [][2]float64 {
	block := make([][2]float64, frames)
	f.s.Stream(block)
	return block
}

// quietSheet has scenes of which no file is there to be played, and an engine
// that is none: keys and lever can be watched, nothing sounds.
func quietSession(t *testing.T, withEngine bool) *session {
	t.Helper()
	sh := &sheet.Sheet{File: "sheet.toml", SampleRateHz: 8000, Scenes: []sheet.Scene{{Name: "ready", LengthS: 1}, {Name: "launch", LengthS: 1}}}
	if withEngine {
		sh.Engine = &sheet.Engine{IdleRPM: 1500, RedlineRPM: 8000}
	}
	chain, err := ear.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := listen.New(listen.Options{Sheet: sh, Chain: chain})
	if err != nil {
		t.Fatal(err)
	}
	return &session{
		job:       &previewJob{sh: sh, interactive: true},
		programme: newProgramme(b, scene.NewLibrary(8000), 8000),
		prepared:  make(chan readied),
	}
}

// lockedBuffer is written by the session while the test reads.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// runSession runs it with these bytes from the terminal and returns how it
// ended and what the screen shows.
func runSession(t *testing.T, s *session, dev *fakePlayer, typed ...string) ([]string, error) {
	t.Helper()
	out := &lockedBuffer{}
	s.screen = &screen{w: out, newline: "\r\n", columns: func() int { return 80 }}
	in := make(chan []byte)
	s.bytes = in
	done := make(chan error, 1)
	go func() { done <- s.run(context.Background(), dev) }()
	for _, b := range typed {
		select {
		case in <- []byte(b):
		case err := <-done:
			return show(out.String()), err
		}
	}
	select {
	case err := <-done:
		return show(out.String()), err
	case <-time.After(5 * time.Second):
		t.Fatal("the session goes on")
		return nil, nil
	}
}

func TestSessionQuits(t *testing.T) {
	for typed, want := range map[string]error{"q": nil, "\x04": nil, "\x03": context.Canceled, "  m\x1b[Aq": nil} {
		if _, err := runSession(t, quietSession(t, true), newFakePlayer(), typed); !errors.Is(err, want) || (want == nil && err != nil) {
			t.Errorf("%q: %v, not %v", typed, err, want)
		}
	}
}

func TestSessionWithoutItsDevice(t *testing.T) {
	dev := newFakePlayer()
	dev.refuses = errors.New("the sound device does not start: busy")
	_, err := runSession(t, quietSession(t, true), dev)
	if exitStatus(err) != exitEnvironment || err.Error() != dev.refuses.Error() {
		t.Error(err)
	}
	dev = newFakePlayer()
	dev.lost <- errors.New("the sound device is lost: gone")
	_, err = runSession(t, quietSession(t, true), dev)
	if exitStatus(err) != exitEnvironment || err.Error() != "the sound device is lost: gone" {
		t.Error(err)
	}
}

func TestSessionWhenTheTerminalGoes(t *testing.T) {
	s := quietSession(t, true)
	in := make(chan []byte)
	s.bytes = in
	close(in)
	if err := s.run(context.Background(), newFakePlayer()); err != nil {
		t.Error(err)
	}
}

func TestSessionInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := quietSession(t, true).run(ctx, newFakePlayer()); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

// The end comes after the last frame and the rest that a device may hold back.
func TestSessionEndsWithTheProgramme(t *testing.T) {
	s := quietSession(t, true)
	s.programme.endAfter(0.5)
	dev := newFakePlayer()
	done := make(chan error, 1)
	go func() { done <- s.run(context.Background(), dev) }()
	<-dev.begun
	dev.take(4000 + 2399)
	select {
	case err := <-done:
		t.Fatal("ended early:", err)
	case <-time.After(50 * time.Millisecond):
	}
	dev.take(1)
	select {
	case err := <-done:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("no end")
	}
	dev.take(5000) // and asking on is no harm
}

func TestKeysMoveTheBench(t *testing.T) {
	ctx := context.Background()
	type shown = listen.Snapshot
	for _, c := range []struct {
		name string
		keys string
		want func(shown) bool
	}{
		{"throttle", " ", func(s shown) bool { return s.Lever == 1 && s.Drive == listen.ByLever }},
		{"lever up", string("uuu"), func(s shown) bool { return near(s.Lever, 0.3) && s.Drive == listen.ByLever }},
		{"lever up and down", "uuud", func(s shown) bool { return near(s.Lever, 0.2) }},
		{"lever at its end", "uuuuuuuuuuuuuu", func(s shown) bool { return s.Lever == 1 }},
		{"lever below", "ud" + "d", func(s shown) bool { return near(s.Lever, 0) }},
		{"lever shut", "uuu0", func(s shown) bool { return s.Lever == 0 }},
		{"volume", "+++-", func(s shown) bool { return s.VolumeDB == -26 }},
		{"volume's end", strings.Repeat("=", 40), func(s shown) bool { return s.VolumeDB == 0 }},
		{"volume's other end", strings.Repeat("_", 40), func(s shown) bool { return s.VolumeDB == -60 }},
		{"hall", "h", func(s shown) bool { return s.Hall }},
		{"hall off", "hh", func(s shown) bool { return !s.Hall }},
		{"cabinet", "C", func(s shown) bool { return s.Cabinet }},
		{"loop", "l", func(s shown) bool { return s.Looping }},
		{"mute", "m", func(s shown) bool { return s.Buses[0].Mute }},
		{"mute off", "mM", func(s shown) bool { return !s.Buses[0].Mute }},
		{"silence", " hs", func(s shown) bool { return s.Silenced && s.Lever == 0 && !s.Hall }},
		{"silence by Esc", " uE", func(s shown) bool { return s.Silenced && s.Lever == 0 }},
		{"throttle out of silence", "s ", func(s shown) bool { return !s.Silenced && s.Lever == 1 }},
		{"no plan", "p", func(s shown) bool { return !s.Planned }},
		{"nothing", "zZ#\x01", func(s shown) bool { return s.Drive == listen.ByScene && s.Lever == 0 }},
	} {
		s := quietSession(t, true)
		for _, k := range c.keys {
			switch k {
			case 'u':
				k = rune(keyUp)
			case 'd':
				k = rune(keyDown)
			case 'E':
				k = rune(keyEsc)
			}
			s.press(ctx, key(k))
			s.move(time.Now())
		}
		if got := s.programme.bench.Snapshot(); !c.want(got) {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}

func near(a, b float64) bool { return a-b < 1e-9 && b-a < 1e-9 }

func TestThrottleLetsGo(t *testing.T) {
	s := quietSession(t, true)
	s.press(context.Background(), keyUp)
	s.press(context.Background(), ' ')
	s.move(time.Now().Add(holdFirst / 2))
	if got := s.programme.bench.Snapshot().Lever; got != 1 {
		t.Errorf("held: %g", got)
	}
	s.move(time.Now().Add(holdFirst + time.Millisecond))
	if got := s.programme.bench.Snapshot().Lever; !near(got, 0.1) {
		t.Errorf("let go: %g, not where the arrows left it", got)
	}
}

func TestWordsOnTheScreen(t *testing.T) {
	for typed, want := range map[string]string{
		"pq": "no plan: give --plan plan.toml",
		"9q": "there is no scene 9; sheet.toml has ready, launch",
		"?q": "1-9     scene:  1 ready  2 launch",
	} {
		if lines, _ := runSession(t, quietSession(t, true), newFakePlayer(), typed); !contains(lines, want) {
			t.Errorf("%q: %q", typed, lines)
		}
	}
	if lines, _ := runSession(t, quietSession(t, false), newFakePlayer(), " q"); !contains(lines, "this sheet has no engine, so there is nothing to throttle") {
		t.Errorf("%q", lines)
	}
	for _, l := range quietSession(t, true).help() {
		if len(l) > 79 {
			t.Errorf("%d columns: %s", len(l), l)
		}
	}
}

func contains(lines []string, want string) bool {
	for _, l := range lines {
		if l == want {
			return true
		}
	}
	return false
}

// ramp counts frames in the left channel.
func ramp() beep.Streamer {
	n := 0.0
	return beep.StreamerFunc(func(dst [][2]float64) (int, bool) {
		for i := range dst {
			n++
			dst[i] = [2]float64{n, 1}
		}
		return len(dst), true
	})
}

func TestProgrammeDoesNotDependOnBlocks(t *testing.T) {
	var first [][2]float64
	for _, block := range []int{7000, 1, 37, 512} {
		s := quietSession(t, true)
		p := s.programme
		p.source = ramp()
		p.rows = []leverRow{{0, 0.25}, {100, 0.5}, {100, 0.75}, {4001, 1}}
		p.endAfter(0.75)
		var out [][2]float64
		for len(out) < 7000 {
			b := make([][2]float64, min(block, 7000-len(out)))
			if n, ok := p.Stream(b); n != len(b) || !ok {
				t.Fatal(n, ok)
			}
			out = append(out, b...)
			lever := p.bench.Snapshot().Lever
			want := 0.25
			if len(out) > 100 {
				want = 0.75
			}
			if len(out) > 4001 {
				want = 1
			}
			if lever != want {
				t.Fatalf("blocks of %d: lever %g at frame %d, not %g", block, lever, len(out), want)
			}
		}
		if first == nil {
			first = out
		}
		for i := range out {
			if out[i] != first[i] {
				t.Fatalf("blocks of %d: frame %d is %v, not %v", block, i, out[i], first[i])
			}
		}
	}
	// Untouched, then 10 ms of fade, then silence.
	for i, f := range first {
		switch {
		case i < 5920:
			if f != [2]float64{float64(i + 1), 1} {
				t.Fatalf("frame %d is %v", i, f)
			}
		case i < 6000:
			if want := float64(5999-i) / 80; f[1] != want {
				t.Fatalf("frame %d fades to %g, not %g", i, f[1], want)
			}
		case f != [2]float64{}:
			t.Fatalf("frame %d after the end is %v", i, f)
		}
	}
}

func TestProgrammeRestoresBeforeItPanics(t *testing.T) {
	s := quietSession(t, true)
	restored := false
	s.programme.guard = func() { restored = true }
	s.programme.source = beep.StreamerFunc(func([][2]float64) (int, bool) { panic("broken") })
	defer func() {
		if recover() != "broken" || !restored {
			t.Error("the terminal is left raw")
		}
	}()
	s.programme.Stream(make([][2]float64, 10))
}
