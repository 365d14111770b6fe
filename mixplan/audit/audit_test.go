package audit

import (
	"context"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"tachbench/analysis/defect"
	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
)

// put writes a sound into a folder, making the folders on its way.
func put(t testing.TB, dir, name string, s *samples.Sound) string {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := file.WriteSound(path, s, wav.SpecOf(s, 16), true); err != nil {
		t.Fatal(err)
	}
	return path
}

func putText(t testing.TB, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// faded is a sine that begins and ends without a step.
func faded(seconds, hz, db float64) *samples.Sound {
	s := tone.Sine(48000, seconds, hz, samples.DBAmplitude(db), 0)
	x := s.Chans[0]
	n := min(2400, len(x)/3)
	for i := range n {
		g := float64(i) / float64(n)
		x[i] *= g
		x[len(x)-1-i] *= g
	}
	return s
}

func run(t testing.TB, in Inputs, opt Options) *Result {
	t.Helper()
	r, err := Run(context.Background(), in, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func paths(r *Result, below string) (out []string) {
	for _, s := range r.Sounds {
		rel, _ := filepath.Rel(below, s.Path)
		out = append(out, filepath.ToSlash(rel))
	}
	return out
}

func rules(fs []defect.Finding) (out []string) {
	for _, f := range fs {
		out = append(out, f.Rule)
	}
	return out
}

func has(fs []defect.Finding, rule string) bool {
	for _, f := range fs {
		if f.Rule == rule {
			return true
		}
	}
	return false
}

func soundAt(t testing.TB, r *Result, suffix string) *Sound {
	t.Helper()
	for i := range r.Sounds {
		if strings.HasSuffix(filepath.ToSlash(r.Sounds[i].Path), suffix) {
			return &r.Sounds[i]
		}
	}
	t.Fatalf("no sound %s among %v", suffix, paths(r, "."))
	return nil
}

// A 997 Hz sine of 0 dBFS in one channel reads -3.01 LKFS (ITU-R BS.1770-5,
// Annex 1, closing note); a mono file counts once.
func TestLevels(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, "a.wav", tone.Sine(48000, 4, 997, samples.DBAmplitude(-20), 0))
	r := run(t, Inputs{Paths: []string{dir}}, Options{})
	s := soundAt(t, r, "a.wav")
	if got := s.Levels.IntegratedLUFS; !got.OK() || math.Abs(got.Value+23.01) > 0.02 {
		t.Errorf("%+v", got)
	}
	if tp, ok := s.Peaks.TruePeakDBTP(); !ok || math.Abs(tp+20) > 0.05 {
		t.Errorf("true peak %g", tp)
	}
	if rms, _ := s.RMSDBFS(); math.Abs(rms+23.01) > 0.01 {
		t.Errorf("RMS %g", rms)
	}
	if crest, _ := s.CrestDB(); math.Abs(crest-3.01) > 0.02 {
		t.Errorf("crest %g", crest)
	}
	if s.DurationS() != 4 || s.Ends.LeadS > 0.001 || !math.IsNaN(s.Stereo.Correlation) {
		t.Errorf("%g s, %+v %+v", s.DurationS(), s.Ends, s.Stereo)
	}
	// The band around 1 kHz holds all of it: a full-scale sine reads -3.01 dB.
	for _, b := range s.ThirdOctaves {
		if b.NominalHz == 1000 && math.Abs(b.LevelDB+23.01) > 0.05 {
			t.Errorf("1 kHz band at %g dB", b.LevelDB)
		}
	}
}

func TestListing(t *testing.T) {
	dir := t.TempDir()
	beep := faded(0.5, 440, -12)
	for _, name := range []string{"b.wav", "a/z.WAV", "a/a.wav", ".hidden.wav", ".git/c.wav", "no-extension"} {
		put(t, dir, strings.TrimSuffix(name, "x"), beep)
	}
	putText(t, dir, "notes.txt", "no sound")
	putText(t, dir, "movie.avi", "RIFF\x00\x00\x00\x00AVI LIST")
	r := run(t, Inputs{Paths: []string{dir, filepath.Join(dir, "b.wav")}}, Options{})
	if got, want := paths(r, dir), []string{"a/a.wav", "a/z.WAV", "b.wav", "no-extension"}; !reflect.DeepEqual(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	// A hidden file is audited when it is named.
	r = run(t, Inputs{Paths: []string{filepath.Join(dir, ".hidden.wav")}}, Options{})
	if len(r.Sounds) != 1 {
		t.Error(paths(r, dir))
	}
}

// One broken sample is a finding and no more: every measure and chart goes on
// as if it were silence.
func TestNotANumber(t *testing.T) {
	dir := t.TempDir()
	s := faded(4, 440, -12)
	s.Chans[0][100000] = math.NaN()
	path := filepath.Join(dir, "x.wav")
	spec := wav.SpecOf(s, 32)
	spec.Float = true
	if err := file.WriteSound(path, s, spec, true); err != nil {
		t.Fatal(err)
	}
	x := soundAt(t, run(t, Inputs{Paths: []string{path}}, Options{Charts: true}), "x.wav")
	if !has(x.Findings, "not-a-number") || !x.Levels.IntegratedLUFS.OK() || math.Abs(x.Levels.IntegratedLUFS.Value+15.7) > 0.5 {
		t.Errorf("%v %+v", rules(x.Findings), x.Levels.IntegratedLUFS)
	}
	for i, c := range x.Chart.Wave {
		if !(c.Min <= 0 && c.Max >= 0 && c.Max < 0.3) {
			t.Fatalf("column %d: %+v", i, c)
		}
	}
}

// A voice is measured in callouts alone: noise that is on 0.6 s of each
// second, over a floor 60 dB under it. With the hangover of 0.2 s (ITU-T P.56)
// it counts as active 0.8 s of each second, so 1.25 dB under its own level.
func TestSpeech(t *testing.T) {
	dir := t.TempDir()
	s := tone.White(48000, 2, 6, 0.1, 5)
	for i := range s.Chans[0] {
		if i%48000 > 28800 {
			s.Chans[0][i] *= 0.001
		}
	}
	copy(s.Chans[1], s.Chans[0])
	put(t, dir, "a.wav", s)
	v := soundAt(t, run(t, Inputs{Paths: []string{dir}, Category: "callout"}, Options{}), "a.wav").Speech
	if v == nil || math.Abs(v.ActiveDB.Value+21.25) > 1 || math.Abs(v.NoiseFloorDB.Value+80) > 1.5 {
		t.Errorf("%+v", v)
	}
	if v := soundAt(t, run(t, Inputs{Paths: []string{dir}, Category: "effect"}, Options{}), "a.wav").Speech; v != nil {
		t.Errorf("an effect with a voice: %+v", v)
	}
}

// A bad file never hides another.
func TestUnreadable(t *testing.T) {
	dir := t.TempDir()
	whole := put(t, dir, "good.wav", faded(1, 440, -12))
	data, err := os.ReadFile(whole)
	if err != nil {
		t.Fatal(err)
	}
	putText(t, dir, "cut.wav", string(data[:len(data)/2]))
	putText(t, dir, "empty.wav", "")
	putText(t, dir, "text.flac", "this is no sound")
	putText(t, dir, "header.wav", "RIFF\x24\x00\x00\x00WAVEfmt ")
	put(t, dir, "none.wav", samples.NewSound(48000, 1, 0))
	gone := filepath.Join(dir, "gone.wav")
	r := run(t, Inputs{Paths: []string{dir, gone}}, Options{})
	if got, want := paths(r, dir), []string{"cut.wav", "good.wav"}; !reflect.DeepEqual(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	cut := soundAt(t, r, "cut.wav")
	if !has(cut.Findings, "truncated") || math.Abs(cut.DurationS()-0.5) > 0.01 {
		t.Errorf("%g s: %v", cut.DurationS(), rules(cut.Findings))
	}
	var bad []string
	for _, u := range r.Unreadable {
		if strings.Contains(u.Err.Error(), dir) || u.Finding.Severity != defect.Error {
			t.Errorf("%s: %v %+v", u.Path, u.Err, u.Finding)
		}
		bad = append(bad, filepath.Base(u.Path))
	}
	if want := []string{"empty.wav", "gone.wav", "header.wav", "none.wav", "text.flac"}; !reflect.DeepEqual(bad, want) {
		t.Errorf("%v, want %v", bad, want)
	}
	if r.MissingPaths() != 1 || !errors.Is(r.Unreadable[1].Err, fs.ErrNotExist) {
		t.Errorf("%d missing: %v", r.MissingPaths(), r.Unreadable[1].Err)
	}
}

func TestPackageFindings(t *testing.T) {
	dir := t.TempDir()
	beep := faded(1, 440, -12)
	put(t, dir, "x/beep.wav", beep)
	put(t, dir, "y/copy.wav", beep)
	// One sample differs.
	near := faded(1, 440, -12)
	near.Chans[0][1000] += 0.001
	put(t, dir, "y/near.wav", near)
	put(t, dir, "Name.wav", faded(1, 441, -12))
	put(t, dir, "name.wav", faded(1, 442, -12))
	put(t, dir, "odd?.wav", faded(1, 443, -12))
	// The same samples at another rate are another sound.
	slow := faded(1, 440, -12)
	slow.RateHz = 44100
	put(t, dir, "z/slow.wav", slow)
	r := run(t, Inputs{Paths: []string{dir}}, Options{})
	for name, want := range map[string]string{
		"y/copy.wav": "same-sound-twice", "name.wav": "name-collision", "odd?.wav": "name-refused",
	} {
		if s := soundAt(t, r, "/"+name); !has(s.Findings, want) {
			t.Errorf("%s: %v, want %s", name, rules(s.Findings), want)
		}
	}
	for _, name := range []string{"x/beep.wav", "y/near.wav", "z/slow.wav"} {
		if s := soundAt(t, r, name); has(s.Findings, "same-sound-twice") {
			t.Errorf("%s: %v", name, rules(s.Findings))
		}
	}
	// What lies above the folder is none of the package's names.
	if s := soundAt(t, r, "x/beep.wav"); len(s.Findings) != 0 {
		t.Error(s.Findings)
	}
}

// A family is judged by its median and its spread once it has a name.
func TestCategoryGiven(t *testing.T) {
	dir := t.TempDir()
	for i, db := range []float64{-20, -20.5, -21, -8} {
		put(t, dir, string(rune('a'+i))+".wav", faded(2, 997+float64(i), db))
	}
	r := run(t, Inputs{Paths: []string{dir}, Category: "callout"}, Options{})
	if !has(soundAt(t, r, "d.wav").Findings, "loudness-off-target") || has(soundAt(t, r, "a.wav").Findings, "loudness-off-target") {
		t.Error(rules(soundAt(t, r, "d.wav").Findings))
	}
	if len(r.Package) != 1 || r.Package[0].Rule != "loudness-spread" || r.Package[0].Category != "callout" || r.Package[0].Path != "" {
		t.Errorf("%+v", r.Package)
	}
	if len(r.Categories) != 1 || r.Categories[0].Sounds != 4 || !math.IsNaN(r.Categories[0].TargetLUFS) {
		t.Errorf("%+v", r.Categories)
	}
}

// The same on any number of cores.
func TestSameOnAnyCores(t *testing.T) {
	dir := makeDepot(t)
	one := run(t, Inputs{Paths: []string{dir}}, Options{Workers: 1, Charts: true})
	many := run(t, Inputs{Paths: []string{dir}}, Options{Workers: 5, Charts: true})
	one.Sheet, many.Sheet = nil, nil
	a, b := strings.Split(describe(one), "\n"), strings.Split(describe(many), "\n")
	for i := range a {
		if i >= len(b) || a[i] != b[i] {
			t.Fatalf("%s\n%s", a[i], b[i])
		}
	}
}

func TestInterrupt(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, "long.wav", samples.NewSound(48000, 2, 60*48000))
	ctx, cancel := context.WithCancel(context.Background())
	started := time.Now()
	once := false
	_, err := Run(ctx, Inputs{Paths: []string{dir}}, Options{Progress: func(p Progress) {
		if !once {
			once = true
			started = time.Now()
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	if d := time.Since(started); d > time.Second {
		t.Errorf("stopped after %v", d)
	}
}

func TestProgress(t *testing.T) {
	dir := makeDepot(t)
	bad := putText(t, t.TempDir(), "bad.wav", "no sound")
	var last Progress
	run(t, Inputs{Paths: []string{dir, bad}}, Options{Progress: func(p Progress) {
		if p.Bytes < last.Bytes || p.Files < last.Files {
			t.Errorf("%+v after %+v", p, last)
		}
		last = p
	}})
	if last.Files != 8 || last.AllFiles != 8 || last.Bytes != last.AllBytes || last.Bytes == 0 {
		t.Errorf("%+v", last)
	}
}
