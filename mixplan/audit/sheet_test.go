package audit

import (
	"context"
	"errors"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"tachbench/analysis/defect"
	"tachbench/samples"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
)

const depot = `title = "Snow Depot"
sample_rate = 48000
bit_depth = 16
[engine]
cylinders = 2
strokes = 2
idle_rpm = 1600
redline_rpm = 8200
[[engine.recording]]
file = "engine/hold.wav"
rpm = 3000
[category.callout]
files = ["callouts/*.wav"]
stand_in = ["callouts/t-*.wav"]
target_lufs = -19
tolerance_lu = 2
[category.effect]
files = ["effects/*.wav"]
[category.effect.limits]
lead_s = 0.5
[category.engine]
files = ["engine/loop.wav"]
target_lufs = -40
[[scene]]
name = "ride"
length_s = 4
[[scene.cue]]
at_s = 0
sound = "music/loop.wav"
loop = true
`

func makeDepot(t testing.TB) string {
	dir := t.TempDir()
	// A 997 Hz sine of level d reads d - 3.01 LUFS.
	put(t, dir, "callouts/right.wav", faded(3, 997, -16))
	put(t, dir, "callouts/loud.wav", faded(3, 997, -10))
	put(t, dir, "callouts/t-loud.wav", faded(3, 991, -10))
	late := samples.NewSound(48000, 1, 48000)
	copy(late.Chans[0][9600:], faded(0.7, 700, -12).Chans[0])
	put(t, dir, "effects/late.wav", late)
	high := tone.Sine(96000, 2, 300, 0.05, 0)
	put(t, dir, "engine/hold.wav", high)
	put(t, dir, "engine/loop.wav", faded(3, 300, -37))
	// It begins and ends at its peak: a click at both ends, unless looped.
	put(t, dir, "music/loop.wav", tone.Sine(48000, 1, 100, 0.3, math.Pi/2))
	put(t, dir, "leftover.wav", faded(1, 500, -20))
	putText(t, dir, "soundsheet.toml", depot)
	return dir
}

func TestSheet(t *testing.T) {
	dir := makeDepot(t)
	for _, path := range []string{dir, filepath.Join(dir, "soundsheet.toml")} {
		r := run(t, Inputs{Paths: []string{path}}, Options{})
		if r.Sheet == nil || len(r.Sounds) != 7 {
			t.Fatalf("%s: %v", path, paths(r, dir))
		}
		if s := soundAt(t, r, "callouts/right.wav"); s.Category != "callout" || has(s.Findings, "loudness-off-target") {
			t.Errorf("%s: %v", s.Category, rules(s.Findings))
		}
		for _, name := range []string{"callouts/loud.wav", "callouts/t-loud.wav"} {
			if s := soundAt(t, r, name); !has(s.Findings, "loudness-off-target") || s.StandIn != strings.Contains(name, "t-") {
				t.Errorf("%s: stand-in %v, %v", name, s.StandIn, rules(s.Findings))
			}
		}
		// 200 ms are late, but the category allows half a second.
		if s := soundAt(t, r, "late.wav"); has(s.Findings, "starts-late") || s.Ends.LeadS < 0.2 || s.Ends.LeadS > 0.21 {
			t.Errorf("%+v %v", s.Ends, rules(s.Findings))
		}
		// Source material need not have the machine's rate.
		if s := soundAt(t, r, "hold.wav"); !s.Recording || has(s.Findings, "wrong-rate") || has(s.Findings, "loudness-off-target") {
			t.Error(rules(s.Findings))
		}
		if s := soundAt(t, r, "music/loop.wav"); has(s.Findings, "click-at-start") || has(s.Findings, "click-at-end") {
			t.Error(rules(s.Findings))
		}
		if len(r.Package) != 1 || r.Package[0].Rule != "unused-file" || !strings.HasSuffix(r.Package[0].Path, "leftover.wav") {
			t.Errorf("%+v", r.Package)
		}
		if c := r.Categories[2]; c.Name != "engine" || c.Sounds != 1 {
			t.Errorf("%+v", c)
		}
		c := r.Categories[0]
		if c.Name != "callout" || c.Sounds != 3 || c.StandIns != 1 || c.TargetLUFS != -19 || c.ToleranceLU != 2 || math.Abs(c.MedianLUFS+16) > 0.2 {
			t.Errorf("%+v", c)
		}
	}
	// By a sheet, but only what is named.
	r := run(t, Inputs{Paths: []string{filepath.Join(dir, "callouts/loud.wav"), filepath.Join(dir, "leftover.wav")}, Sheet: filepath.Join(dir, "soundsheet.toml")}, Options{})
	if len(r.Sounds) != 2 || len(r.Package) != 0 || !has(soundAt(t, r, "loud.wav").Findings, "loudness-off-target") || soundAt(t, r, "leftover.wav").Category != "" {
		t.Errorf("%v %+v", paths(r, dir), r.Package)
	}
	// Without the sheet: no category, no target, clicks at the ends.
	r = run(t, Inputs{Paths: []string{filepath.Join(dir, "callouts"), filepath.Join(dir, "music")}}, Options{})
	if s := soundAt(t, r, "loud.wav"); s.Category != "" || has(s.Findings, "loudness-off-target") {
		t.Error(rules(s.Findings))
	}
	if s := soundAt(t, r, "music/loop.wav"); !has(s.Findings, "click-at-start") {
		t.Error(rules(s.Findings))
	}
}

// TestAbsentFiles: entries without a file are findings, one each, and all the
// rest is measured.
func TestAbsentFiles(t *testing.T) {
	dir := makeDepot(t)
	r := strings.NewReplacer("engine/hold.wav", "engine/no.wav", "effects/*.wav", "effects/*.flac", "music/loop.wav", "music/loup.wav")
	p := putText(t, dir, "soundsheet.toml", r.Replace(depot))
	res := run(t, Inputs{Paths: []string{dir}}, Options{})
	if len(res.Sounds) != 4 || !has(soundAt(t, res, "callouts/loud.wav").Findings, "loudness-off-target") {
		t.Errorf("measured %v", paths(res, dir))
	}
	want := []struct{ path, category, text string }{
		{"effects/*.flac", "effect", p + `:18:10 category.effect.files[1]: "effects/*.flac" matches no file; the folder "effects" holds "late.wav".`},
		{"engine/no.wav", "", p + `:10:1 engine.recording[1].file: "engine/no.wav" does not exist`},
		{"music/loup.wav", "", p + `:29:1 scene[1].cue[1].sound: "music/loup.wav" does not exist; did you mean "music/loop.wav"?`},
	}
	var got []Located
	for _, f := range res.Package {
		if f.Rule == "missing-file" {
			got = append(got, f)
		}
	}
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i, w := range want {
		f := got[i]
		if f.Severity != defect.Error || f.Path != filepath.Join(dir, filepath.FromSlash(w.path)) || f.Category != w.category || !strings.Contains(f.Message, w.text) {
			t.Errorf("got %+v, want %+v", f, w)
		}
	}
	if errs, _, _ := res.Count(); errs < len(want) {
		t.Errorf("%d errors", errs)
	}
	// Who asks about single sounds is not told about the rest of the package.
	res = run(t, Inputs{Paths: []string{filepath.Join(dir, "callouts")}, Sheet: p}, Options{})
	if len(res.Sounds) != 3 || len(res.Package) != 0 {
		t.Errorf("%v %+v", paths(res, dir), res.Package)
	}
}

func TestSheetErrors(t *testing.T) {
	dir := makeDepot(t)
	for text, want := range map[string]string{
		strings.Replace(depot, "lead_s", "leed_s", 1):                `:20:`,
		strings.Replace(depot, "lead_s = 0.5", "lead_s = 500", 1):    `out of range`,
		strings.Replace(depot, "engine/hold.wav", "engine/*.wav", 1): `not a pattern`,
		strings.Replace(depot, "target_lufs", "target_luffs", 1):     `unknown key`,
	} {
		p := putText(t, dir, "soundsheet.toml", text)
		_, err := Run(context.Background(), Inputs{Paths: []string{p}}, Options{})
		var errs sheet.Errors
		if !errors.As(err, &errs) || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %s", err, want)
		}
	}
	putText(t, dir, "soundsheet.toml", depot)
	other := putText(t, dir, "other.toml", depot)
	_, err := Run(context.Background(), Inputs{Paths: []string{dir, other}}, Options{})
	if err == nil || !strings.Contains(err.Error(), "second sheet") {
		t.Error(err)
	}
}
