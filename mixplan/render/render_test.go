package render_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"tachbench/mixplan"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/render"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
	"tachbench/synth/standin"
)

// sceneOf writes sounds into a folder and lays out one scene of 4 s at 48 kHz.
func sceneOf(t testing.TB, sounds map[string]*samples.Sound, loops map[string]samples.Loop, cues string) *scene.Timeline {
	t.Helper()
	dir := t.TempDir()
	categories := map[string][]string{}
	for name, s := range sounds {
		spec := wav.SpecOf(s, 32)
		if l, ok := loops[name]; ok {
			spec.Loops = []samples.Loop{l}
		}
		if err := file.WriteSound(filepath.Join(dir, name), s, spec, false); err != nil {
			t.Fatal(err)
		}
		category, _, _ := strings.Cut(name, "-")
		categories[category] = append(categories[category], fmt.Sprintf("%q", name))
	}
	if err := os.WriteFile(filepath.Join(dir, "c.csv"), []byte("0,2500\n3,5000\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	text := "sample_rate = 48000\nbit_depth = 16\n[engine]\ncylinders = 2\nstrokes = 2\nidle_rpm = 1600\nredline_rpm = 8000\n"
	for _, c := range []string{"callout", "effect", "music"} {
		if files := categories[c]; files != nil {
			text += fmt.Sprintf("[category.%s]\nfiles = [%s]\n", c, strings.Join(files, ", "))
		}
	}
	sh, err := sheet.Parse("s.toml", []byte(text+"[[scene]]\nname = \"x\"\nlength_s = 4\n"+cues), dir)
	if err != nil {
		t.Fatal(err)
	}
	tl, err := scene.Build(sh, scene.NewLibrary(sh.SampleRateHz), "x")
	if err != nil {
		t.Fatal(err)
	}
	return tl
}

func cue(atS float64, name string, loop bool) string {
	return fmt.Sprintf("[[scene.cue]]\nat_s = %g\nsound = %q\nloop = %v\n", atS, name, loop)
}

const engineCue = "[[scene.cue]]\nat_s = 0.5\nengine = \"c.csv\"\n"

func sound(t testing.TB, tl *scene.Timeline, eng *engine.Engine, o render.Options) (*samples.Sound, map[string]*samples.Sound, *render.Result) {
	t.Helper()
	mix, stems, r, err := render.Sound(context.Background(), tl, eng, o)
	if err != nil {
		t.Fatal(err)
	}
	return mix, stems, r
}

var prepared = sync.OnceValues(func() (*engine.Engine, error) {
	spec := standin.SnowSled()
	pull, _ := standin.Record(spec, standin.Ramp(1500, 6000, 5), standin.Always(1), 5, 48000, 1, 1)
	return engine.Prepare(spec.Layout, 48000, []engine.Recording{{Name: "pull", Sound: pull, Load: 1, FromRPM: 1500, ToRPM: 6000}})
})

func sled(t testing.TB) *engine.Engine {
	t.Helper()
	e, err := prepared()
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func plan(depth float64) *mixplan.Plan {
	return &mixplan.Plan{
		BusGainDB: -2,
		Trims:     []mixplan.Trim{{Category: "music", TrimDB: -3}, {Path: "callout-a.wav", Category: "callout", TrimDB: 4}},
		Ducks: []mixplan.Duck{
			{Under: "callout", Category: "music", DepthDB: depth, AttackMS: 60, HoldMS: 200, ReleaseMS: 500, LookaheadMS: 60},
			{Under: "callout", Category: "engine", DepthDB: 6, AttackMS: 120, HoldMS: 200, ReleaseMS: 500, LookaheadMS: 60, Dip: &mixplan.Dip{LowHz: 500, HighHz: 4000}},
		},
	}
}

// A sound comes out as it went in: at its frame, in both channels, and ends.
func TestSoundsComeOutAtTheirFrames(t *testing.T) {
	hiss := tone.White(48000, 1, 1, 0.1, 1)
	wide := tone.White(48000, 2, 1, 0.1, 2)
	tl := sceneOf(t, map[string]*samples.Sound{"effect-a.wav": hiss, "effect-b.wav": wide}, nil, cue(0.5, "effect-a.wav", false)+cue(2, "effect-b.wav", false))
	mix, stems, r := sound(t, tl, nil, render.Options{})
	if mix.Channels() != 2 || mix.Frames() != 4*48000 || r.Frames != 4*48000 || len(stems) != 1 {
		t.Fatalf("%d channels, %d frames", mix.Channels(), mix.Frames())
	}
	for c, ch := range mix.Chans {
		for i, v := range ch {
			want := 0.0
			switch {
			case i >= 24000 && i < 72000:
				want = hiss.Chans[0][i-24000]
			case i >= 96000 && i < 144000:
				want = wide.Chans[c][i-96000]
			}
			if math.Abs(v-want) > 5e-8 { // the file holds 32-bit floats
				t.Fatalf("channel %d, frame %d: %g, want %g", c, i, v, want)
			}
		}
	}
	mono := sceneOf(t, map[string]*samples.Sound{"effect-a.wav": hiss}, nil, cue(0.5, "effect-a.wav", false))
	if m, _, _ := sound(t, mono, nil, render.Options{}); m.Channels() != 1 || !slices.Equal(m.Chans[0][24000:72000], mix.Chans[0][24000:72000]) {
		t.Error("a scene of mono sounds is not the same in mono")
	}
}

// A loop of whole periods of a sine goes on as one sine, at the machine's
// rate and at others: no seam.
func TestLoopsAreSeamless(t *testing.T) {
	for _, rate := range []int{48000, 44100, 32000, 96000} {
		s := tone.Sine(rate, 1, 400, 0.5, 0)
		// 0.1 s of silence before, then 0.3 s repeated: 120 periods.
		clear(s.Chans[0][:rate/10])
		loop := samples.Loop{Start: int64(rate / 10), End: int64(rate / 10 * 4)}
		tl := sceneOf(t, map[string]*samples.Sound{"music-a.wav": s}, map[string]samples.Loop{"music-a.wav": loop}, cue(0, "music-a.wav", true))
		mix, _, _ := sound(t, tl, nil, render.Options{})
		worst := 0.0
		for i, v := range mix.Chans[0][7200 : 48000*4-960] {
			worst = math.Max(worst, math.Abs(v-0.5*math.Sin(2*math.Pi*400*float64(i+7200)/48000)))
		}
		if worst > 1e-5 {
			t.Errorf("%d Hz: off by %g", rate, worst)
		}
		if first := samples.RMS(mix.Chans[0][:4700]); first > 1e-3 {
			t.Errorf("%d Hz: %g before the loop", rate, first)
		}
		// Without loop points the whole file repeats, its silence too.
		tl = sceneOf(t, map[string]*samples.Sound{"music-a.wav": s}, nil, cue(0, "music-a.wav", true))
		if m, _, _ := sound(t, tl, nil, render.Options{}); math.Abs(samples.RMS(m.Chans[0][48000:144000])-0.5*math.Sqrt(0.5*0.9)) > 1e-3 {
			t.Errorf("%d Hz: the whole file did not repeat", rate)
		}
	}
}

// Levels in the render are those of the plan: what the solver may rely on.
func TestPlanIsHeardAsWritten(t *testing.T) {
	// A tone for the bed and another for the callout, so that each is read
	// off alone.
	bed := tone.Sine(48000, 4, 1000, 0.1, 0)
	call := tone.Sine(48000, 1, 300, 0.1, 0)
	tl := sceneOf(t, map[string]*samples.Sound{"music-a.wav": bed, "callout-a.wav": call}, nil, cue(0, "music-a.wav", true)+cue(1.5, "callout-a.wav", false))
	level := func(s *samples.Sound, fromS, toS float64) float64 {
		return samples.AmplitudeDB(samples.RMS(s.Chans[0][int(fromS*48000):int(toS*48000)]))
	}
	_, plain, _ := sound(t, tl, nil, render.Options{})
	_, planned, r := sound(t, tl, nil, render.Options{Plan: plan(9)})
	for _, k := range []struct {
		what, category string
		from, to, want float64
	}{
		{"before the callout", "music", 0.5, 1.4, -3 - 2},
		{"under the callout", "music", 1.52, 2.68, -3 - 2 - 9},
		{"after it", "music", 3.3, 3.9, -3 - 2},
		{"the callout", "callout", 1.5, 2.5, 4 - 2},
	} {
		if got := level(planned[k.category], k.from, k.to) - level(plain[k.category], k.from, k.to); math.Abs(got-k.want) > 0.001 {
			t.Errorf("%s: %.4f dB, want %.4f", k.what, got, k.want)
		}
	}
	for _, b := range r.Buses {
		if want := (b.Category == "music"); b.Yields != want || (b.Cost.Times == 1) != want {
			t.Errorf("bus %+v", b)
		}
	}
	quiet, _, _ := sound(t, tl, nil, render.Options{Plan: plan(9), GainDB: -6})
	loud, _, _ := sound(t, tl, nil, render.Options{Plan: plan(9)})
	if got := level(quiet, 0.5, 3.9) - level(loud, 0.5, 3.9); math.Abs(got+6) > 1e-9 {
		t.Errorf("gain on everything: %g dB", got)
	}
}

// Stems added up in the order of the categories are the mix, to the bit; any
// block size gives the same; another seed another engine.
func TestStemsAndBlocks(t *testing.T) {
	eng := sled(t)
	tl := sceneOf(t, map[string]*samples.Sound{
		"music-a.wav":   tone.White(44100, 2, 0.7, 0.1, 1),
		"effect-a.wav":  tone.White(48000, 1, 0.3, 0.1, 3),
		"effect-b.wav":  tone.White(22050, 1, 0.6, 0.1, 4),
		"callout-a.wav": tone.White(48000, 1, 0.5, 0.1, 2),
	}, nil, cue(0, "music-a.wav", true)+cue(0.2, "effect-a.wav", false)+cue(0.25, "effect-b.wav", false)+cue(0.3, "effect-a.wav", false)+cue(1.5, "callout-a.wav", false)+engineCue)
	o := render.Options{Plan: plan(9), Seed: 5}
	mix, stems, r := sound(t, tl, eng, o)
	if len(stems) != 4 || r.Channels != 2 {
		t.Fatalf("%d stems, %d channels", len(stems), r.Channels)
	}
	for c := range mix.Chans {
		for i, v := range mix.Chans[c] {
			sum := 0.0
			for _, name := range tl.Categories() {
				sum += stems[name].Chans[c][i]
			}
			if sum != v {
				t.Fatalf("channel %d, frame %d: stems give %g, the mix is %g", c, i, sum, v)
			}
		}
	}
	for _, size := range []int{13, 511, 4097, 1 << 20} {
		o.BlockFrames = size
		again, others, _ := sound(t, tl, eng, o)
		if !reflect.DeepEqual(mix, again) || !reflect.DeepEqual(stems, others) {
			t.Errorf("blocks of %d: another sound", size)
		}
	}
	o.Seed = 6
	if other, _, _ := sound(t, tl, eng, o); reflect.DeepEqual(mix, other) {
		t.Error("another seed, the same sound")
	}
}

// The engine's dip takes its band and leaves the rest.
func TestEngineDip(t *testing.T) {
	eng := sled(t)
	tl := sceneOf(t, map[string]*samples.Sound{"callout-a.wav": tone.White(48000, 1, 1, 0.1, 2)}, nil, cue(1.5, "callout-a.wav", false)+engineCue)
	_, plain, _ := sound(t, tl, eng, render.Options{})
	p := plan(9)
	p.BusGainDB = 0
	_, planned, r := sound(t, tl, eng, render.Options{Plan: p})
	a, b := plain["engine"].Chans[0], planned["engine"].Chans[0]
	if !slices.Equal(a[:int(1.43*48000)], b[:int(1.43*48000)]) {
		t.Error("the engine changed before the callout")
	}
	part := func(x []float64) float64 { return samples.AmplitudeDB(samples.RMS(x[int(1.7*48000):int(2.4*48000)])) }
	if d := part(b) - part(a); d > -0.2 || d < -6 {
		t.Errorf("the dip took %.2f dB of the whole", -d)
	}
	if k := r.Buses[1].Cost; k.Times != 1 || k.DeepestDB != 6 {
		t.Errorf("cost %+v", k)
	}
}

func TestSceneEndsWithoutAClick(t *testing.T) {
	tl := sceneOf(t, map[string]*samples.Sound{"music-a.wav": tone.DC(48000, 1, 0.5)}, nil, cue(0, "music-a.wav", true))
	mix, _, _ := sound(t, tl, nil, render.Options{})
	ch := mix.Chans[0]
	n := len(ch)
	if ch[n-1] != 0 || math.Abs(ch[n-481]-0.5) > 1e-9 {
		t.Errorf("ends at %g, 10 ms before at %g", ch[n-1], ch[n-481])
	}
	for i := n - 480; i < n; i++ {
		if step := math.Abs(ch[i] - ch[i-1]); step > 0.5*math.Pi/480 {
			t.Errorf("a step of %g", step)
		}
	}
}

func TestRunGivesBackErrors(t *testing.T) {
	tl := sceneOf(t, map[string]*samples.Sound{"music-a.wav": tone.DC(48000, 1, 0.5)}, nil, cue(0, "music-a.wav", true)+engineCue)
	if _, err := render.Run(context.Background(), tl, nil, render.Options{}); err == nil {
		t.Error("no engine, no error")
	}
	tl = sceneOf(t, map[string]*samples.Sound{"music-a.wav": tone.DC(48000, 1, 0.5)}, nil, cue(0, "music-a.wav", true))
	full := errors.New("disk full")
	fail := render.SinkFunc(func([][]float64) error { return full })
	if _, err := render.Run(context.Background(), tl, nil, render.Options{Mix: fail}); !errors.Is(err, full) {
		t.Errorf("mix: %v", err)
	}
	if _, err := render.Run(context.Background(), tl, nil, render.Options{Stem: func(string) render.Sink { return fail }}); !errors.Is(err, full) {
		t.Errorf("stem: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := render.Run(ctx, tl, nil, render.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	empty := sceneOf(t, nil, nil, "")
	if m, _, _ := sound(t, empty, nil, render.Options{}); m.Frames() != 4*48000 || samples.RMS(m.Chans[0]) != 0 {
		t.Error("a scene without cues is not silence")
	}
}

func BenchmarkRun(b *testing.B) {
	eng := sled(b)
	tl := sceneOf(b, map[string]*samples.Sound{
		"music-a.wav":   tone.White(48000, 2, 2, 0.1, 1),
		"effect-a.wav":  tone.White(48000, 1, 0.3, 0.1, 3),
		"callout-a.wav": tone.White(48000, 1, 0.5, 0.1, 2),
	}, nil, cue(0, "music-a.wav", true)+cue(0.2, "effect-a.wav", false)+cue(1.5, "callout-a.wav", false)+engineCue)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := render.Run(context.Background(), tl, eng, render.Options{Plan: plan(9)}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(4*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
