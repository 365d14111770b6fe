package page_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"

	"tachbench/cmd/internal/page"
	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/listen"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/crank"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
)

const (
	browserRateHz = 48000
	musicDepthDB  = 9
)

// browserSheet is a package with an engine of two even firings a revolution, a
// callout and music.
const browserSheet = `title = "Sled <test>"
sample_rate = 48000
bit_depth = 16
[engine]
cylinders = 2
strokes = 2
firing_angles = [0, 180]
idle_rpm = 2000
redline_rpm = 6000
[engine.crank]
rise_s = 0.6
fall_s = 0.8
[[engine.recording]]
file = "hold-2000.wav"
rpm = 2000
[[engine.recording]]
file = "hold-3000.wav"
rpm = 3000
[[engine.recording]]
file = "hold-4400.wav"
rpm = 4400
[[engine.recording]]
file = "hold-6000.wav"
rpm = 6000
[category.callout]
files = ["callout.wav"]
priority = 2
[category.music]
files = ["music.wav"]
priority = 1
[listening]
level_at_ear_db = 82
noise_dba = 70
noise_shape = "crowd"
[[rev_band]]
name = "low"
from_rpm = 2000
to_rpm = 3500
lamp = "#3b6ea5"
[[rev_band]]
name = "catch"
from_rpm = 3500
to_rpm = 5000
catch = true
lamp = "#c8a400"
[[rev_band]]
name = "over"
from_rpm = 5000
to_rpm = 6000
lamp = "#a8352a"
[[scene]]
name = "meet"
length_s = 6
[[scene.cue]]
at_s = 0
sound = "music.wav"
loop = true
[[scene.cue]]
at_s = 0.5
sound = "callout.wav"
[[scene]]
name = "music only"
length_s = 4
[[scene.cue]]
at_s = 0
sound = "music.wav"
`

// machine is the package, made ready.
type machine struct {
	sheet  *sheet.Sheet
	chain  *ear.Chain
	engine *engine.Engine
}

// depot writes the package and makes it ready.
func depot(t *testing.T) machine {
	t.Helper()
	dir := t.TempDir()
	write := func(name string, s *samples.Sound) {
		t.Helper()
		f, err := os.Create(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(wav.Encode(f, s, wav.SpecOf(s, 16)), f.Close()); err != nil {
			t.Fatal(err)
		}
	}
	for _, rpm := range []float64{2000, 3000, 4400, 6000} {
		s, _ := tone.Engine(tone.EngineSpec{
			Layout: crank.Layout{Cylinders: 2, Strokes: 2}, RPM: tone.Hold(rpm), DurationS: 3,
			RateHz: browserRateHz, Seed: uint64(rpm),
		})
		write(fmt.Sprintf("hold-%.0f.wav", rpm), s)
	}
	write("callout.wav", tone.Pink(browserRateHz, 4, 0.08, 7))
	write("music.wav", tone.Pink(browserRateHz, 2, 0.05, 8))
	sh, err := sheet.Parse("soundsheet.toml", []byte(browserSheet), dir)
	if err != nil {
		t.Fatal(err)
	}
	chain, err := ear.New(sh.Listening)
	if err != nil {
		t.Fatal(err)
	}
	eng, _, err := engine.Load(sh)
	if err != nil {
		t.Fatal(err)
	}
	return machine{sh, chain, eng}
}

// served is a page with a true bench behind it.
type served struct {
	*page.Server
	stop func() // ends it; may be called twice

	mu  sync.Mutex
	met [][2]int // cells of the map that were asked for
}

// cells returns the cells of the map that were asked for so far.
func (s *served) cells() [][2]int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.met)
}

// serveBench serves on an address, or on any free port of this computer.
func serveBench(t *testing.T, m machine, address string) *served {
	t.Helper()
	bench, err := listen.New(listen.Options{Sheet: m.sheet, Engine: m.engine, Chain: m.chain, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	lib := scene.NewLibrary(browserRateHz)
	s := &served{}
	if s.Server, err = page.New(page.Options{Sheet: m.sheet, Library: lib, Chain: m.chain, HasEngine: true, Bench: bench}, l); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx) }()
	s.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(s.stop)
	plan := page.Plan{
		Plan: &mixplan.Plan{Ducks: []mixplan.Duck{
			{Under: "callout", Category: "music", DepthDB: musicDepthDB, AttackMS: 100, HoldMS: 250, ReleaseMS: 300, LookaheadMS: 60},
		}},
		Map: page.Map{RPM: []float64{2000, 4000, 6000}, Callouts: []page.MapCallout{
			{Path: "callout.wav", SIIPlain: 0.31, SIIPlanned: 0.52, Plain: []float64{0.48, 0.33, 0.2}, Planned: []float64{0.63, 0.52, 0.41}},
		}},
		Meeting: func(callout, step int) (*scene.Timeline, error) {
			s.mu.Lock()
			s.met = append(s.met, [2]int{callout, step})
			s.mu.Unlock()
			return scene.Build(m.sheet, lib, "meet")
		},
	}
	if err := s.PlanReady(ctx, plan); err != nil {
		t.Fatal(err)
	}
	return s
}
