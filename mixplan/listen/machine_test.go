package listen_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/listen"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
	"tachbench/synth/standin"
)

const rate = 48000

// desk is a small machine: a bed, a click, a callout that speaks from 1.5 s to
// 2.5 s of a scene of 4 s, and, if wanted, an engine.
type desk struct {
	sheet *sheet.Sheet
	chain *ear.Chain
	eng   *engine.Engine
	scene *scene.Timeline
}

func machine(t testing.TB, withEngine bool, extra string) desk {
	t.Helper()
	dir := t.TempDir()
	for name, s := range map[string]*samples.Sound{
		"music.wav":   tone.White(rate, 2, 1.3, 0.05, 1),
		"effect.wav":  tone.White(44100, 1, 0.3, 0.05, 3),
		"callout.wav": tone.White(rate, 1, 1, 0.1, 2),
	} {
		if err := file.WriteSound(filepath.Join(dir, name), s, wav.SpecOf(s, 32), false); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "c.csv"), []byte("0,2500\n3,5000\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "r.csv"), []byte("100,-20\n400,-6\n4000,-6\n12000,-16\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	text := "sample_rate = 48000\nbit_depth = 16\n[engine]\ncylinders = 2\nstrokes = 2\nidle_rpm = 1600\nredline_rpm = 6000\n"
	for _, c := range []string{"callout", "effect", "music"} {
		text += fmt.Sprintf("[category.%s]\nfiles = [\"%s.wav\"]\n", c, c)
	}
	text += extra + "[[scene]]\nname = \"x\"\nlength_s = 4\n"
	for _, q := range []struct {
		at   float64
		name string
		loop bool
	}{{0, "music", true}, {0.2, "effect", false}, {1.5, "callout", false}} {
		text += fmt.Sprintf("[[scene.cue]]\nat_s = %g\nsound = \"%s.wav\"\nloop = %v\n", q.at, q.name, q.loop)
	}
	if withEngine {
		text += "[[scene.cue]]\nat_s = 0.5\nengine = \"c.csv\"\n"
	}
	var d desk
	var err error
	if d.sheet, err = sheet.Parse("s.toml", []byte(text), dir); err != nil {
		t.Fatal(err)
	}
	if d.scene, err = scene.Build(d.sheet, scene.NewLibrary(rate), "x"); err != nil {
		t.Fatal(err)
	}
	if d.chain, err = ear.New(d.sheet.Listening); err != nil {
		t.Fatal(err)
	}
	if withEngine {
		if d.eng, err = prepared(); err != nil {
			t.Fatal(err)
		}
	}
	return d
}

var prepared = sync.OnceValues(func() (*engine.Engine, error) {
	spec := standin.SnowSled()
	pull, _ := standin.Record(spec, standin.Ramp(1500, 6000, 5), standin.Always(1), 5, rate, 1, 1)
	return engine.Prepare(spec.Layout, rate, []engine.Recording{{Name: "pull", Sound: pull, Load: 1, FromRPM: 1500, ToRPM: 6000}})
})

// bench is loud enough to measure and never limits.
func (d desk) bench(t testing.TB) *listen.Bench {
	t.Helper()
	b, err := listen.New(listen.Options{Sheet: d.sheet, Engine: d.eng, Chain: d.chain, Seed: 5, VolumeDB: -1e-9, CeilingDBTP: -1e-9})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func plan() *mixplan.Plan {
	return &mixplan.Plan{
		BusGainDB: 2,
		Trims:     []mixplan.Trim{{Category: "music", TrimDB: -3}, {Path: "callout.wav", Category: "callout", TrimDB: 4}, {Category: "engine", TrimDB: -1}},
		Ducks: []mixplan.Duck{
			{Under: "callout", Category: "music", DepthDB: 9, AttackMS: 60, HoldMS: 200, ReleaseMS: 500, LookaheadMS: 60},
			{Under: "callout", Category: "engine", DepthDB: 6, AttackMS: 120, HoldMS: 200, ReleaseMS: 500, LookaheadMS: 60, Dip: &mixplan.Dip{LowHz: 500, HighHz: 4000}},
		},
	}
}

func play(t testing.TB, b *listen.Bench, tl *scene.Timeline, loop bool) {
	t.Helper()
	if err := b.Play(context.Background(), tl, loop); err != nil {
		t.Fatal(err)
	}
}

func setPlan(t testing.TB, b *listen.Bench, p *mixplan.Plan) {
	t.Helper()
	if err := b.SetPlan(context.Background(), p); err != nil {
		t.Fatal(err)
	}
}

// hear pulls seconds from a bench in blocks of 10 ms.
func hear(b *listen.Bench, seconds float64) *samples.Sound {
	return pull(b, int(math.Round(seconds*rate)), 480)
}

func pull(b *listen.Bench, frames, size int) *samples.Sound {
	out := samples.NewSound(b.RateHz(), 2, frames)
	buf := make([][2]float64, size)
	for at := 0; at < frames; {
		block := buf[:min(size, frames-at)]
		b.Stream(block)
		for i, f := range block {
			out.Chans[0][at+i], out.Chans[1][at+i] = f[0], f[1]
		}
		at += len(block)
	}
	return out
}

func step(x []float64) float64 {
	most := 0.0
	for i := 1; i < len(x); i++ {
		most = math.Max(most, math.Abs(x[i]-x[i-1]))
	}
	return most
}

func rms(s *samples.Sound, fromS, toS float64) float64 {
	return samples.RMS(s.Chans[0][int(fromS*rate):int(toS*rate)])
}

// lag finds by how many frames the bench is late: the limiter's look-ahead.
func lag(t *testing.T, out, want []float64) int {
	t.Helper()
	for k := range 400 {
		same := true
		for i := 40000; i < 40200 && same; i++ {
			same = math.Abs(out[i+k]-want[i]) < 1e-6
		}
		if same {
			return k
		}
	}
	t.Fatal("the bench plays something else")
	return 0
}

// sines is a machine whose every sound is a slow sine: it shows every step.
func sines(t testing.TB) desk {
	d := machine(t, false, "")
	for i := range d.scene.Events {
		c := d.scene.Events[i].Clip
		c.Sound = tone.Sine(c.Sound.RateHz, c.Sound.DurationS(), 100, 0.1, 0)
		c.Loop.End = int64(c.Sound.Frames())
	}
	return d
}
