package headroom

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"tachbench/mixplan"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
)

const testSheet = `title = "Test"
sample_rate = 8000
bit_depth = 16
[category.callout]
files = ["callout.wav"]
[category.effect]
files = ["effect.wav"]
[category.music]
files = ["music.wav"]
`

// pack writes a package whose music alone peaks at 0.5 and whose callout at
// 0.7: over full scale only when they meet.
func pack(t *testing.T, more string) *sheet.Sheet {
	t.Helper()
	dir := t.TempDir()
	for name, s := range map[string]struct{ seconds, hz, amp float64 }{"callout": {2, 500, 0.7}, "effect": {0.5, 700, 0.1}, "music": {9, 300, 0.5}} {
		x := tone.Sine(8000, s.seconds, s.hz, s.amp, 0)
		if err := file.WriteSound(filepath.Join(dir, name+".wav"), x, wav.SpecOf(x, 16), false); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, "soundsheet.toml")
	if err := os.WriteFile(path, []byte(testSheet+more), 0o666); err != nil {
		t.Fatal(err)
	}
	sh, err := sheet.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	return sh
}

func simulate(t *testing.T, sh *sheet.Sheet, plan *mixplan.Plan, o Options) *Result {
	t.Helper()
	r, err := Simulate(context.Background(), sh, nil, plan, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Every callout over the music is one overrun; a duck of 12 dB keeps the sum
// at 0.7 + 0.125 + 0.1 and takes nearly all of them away.
func TestSimulateCountsMeetings(t *testing.T) {
	sh := pack(t, "")
	r := simulate(t, sh, nil, Options{Seed: 1, Minutes: 20, PerMin: map[string]float64{"callout": 3, "effect": 1}})
	if o := r.At(0); o.Count < 30 || o.Count > 75 || o.LoPerHour > o.PerHour || o.HiPerHour < o.PerHour {
		t.Errorf("60 callouts expected in 20 minutes, fewer for the queue: %+v", o)
	}
	if g := r.BusGainDB(0); g > -1.5 || g < -2.5 { // 0.7 + 0.5 + 0.1 is 2.28 dB over
		t.Errorf("bus gain %g", g)
	}
	plan := &mixplan.Plan{Ducks: []mixplan.Duck{{Under: "callout", Category: "music", DepthDB: 12, AttackMS: 100, HoldMS: 200, ReleaseMS: 300, LookaheadMS: 100}}}
	if o := simulate(t, sh, plan, Options{Seed: 1, Minutes: 20, PerMin: map[string]float64{"callout": 3, "effect": 1}}).At(0); o.Count > 3 {
		t.Errorf("ducked: %+v", o)
	}
	trim := &mixplan.Plan{Trims: []mixplan.Trim{{Category: "music", TrimDB: -12}}}
	if o := simulate(t, sh, trim, Options{Seed: 1, Minutes: 5}).At(0); o.Count > 0 {
		t.Errorf("trimmed: %+v", o)
	}
}

// Rates come from the scenes, else from habit; workers and calls change no
// sample.
func TestSimulateRatesAndCores(t *testing.T) {
	sh := pack(t, "[[scene]]\nname = \"a\"\nlength_s = 30\n[[scene.cue]]\nat_s = 1\nsound = \"callout.wav\"\n[[scene.cue]]\nat_s = 0\nsound = \"music.wav\"\nloop = true\n")
	a := simulate(t, sh, nil, Options{Seed: 2, Minutes: 4, Workers: 1})
	b := simulate(t, sh, nil, Options{Seed: 2, Minutes: 4, Workers: 3})
	if !slices.Equal(a.Peaks, b.Peaks) {
		t.Error("the number of cores changes the play")
	}
	if c := simulate(t, sh, nil, Options{Seed: 3, Minutes: 4}); slices.Equal(a.Peaks, c.Peaks) {
		t.Error("the seed changes nothing")
	}
	want := []Rate{{"callout", 2, "scenes"}, {"effect", EventsPerMin, "habit"}, {"music", 0, "always"}}
	if fmt.Sprint(a.Rates) != fmt.Sprint(want) {
		t.Errorf("rates %v, not %v", a.Rates, want)
	}
	if len(a.Peaks) != 4*6000 {
		t.Errorf("%d blocks", len(a.Peaks))
	}
}
