package scene_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/sheet"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
)

func write(t *testing.T, dir, name string, s *samples.Sound, loops ...samples.Loop) {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	spec := wav.SpecOf(s, 32)
	spec.Loops = loops
	if err := file.WriteSound(path, s, spec, false); err != nil {
		t.Fatal(err)
	}
}

// words is a sound that is loud in the given stretches and silent elsewhere.
func words(lengthS float64, spans ...scene.Span) *samples.Sound {
	s := tone.Silence(48000, 1, lengthS)
	hiss := tone.White(48000, 1, lengthS, 0.1, 1)
	for _, a := range spans {
		from, to := int(math.Round(a.FromS*48000)), int(math.Round(a.ToS*48000))
		copy(s.Chans[0][from:to], hiss.Chans[0][from:to])
	}
	return s
}

func near(a, b []scene.Span, tol float64) bool {
	return slices.EqualFunc(a, b, func(x, y scene.Span) bool {
		return math.Abs(x.FromS-y.FromS) <= tol && math.Abs(x.ToS-y.ToS) <= tol
	})
}

func TestActiveFindsTheWords(t *testing.T) {
	for name, c := range map[string]struct {
		in   *samples.Sound
		want []scene.Span
	}{
		"one word":              {words(2, scene.Span{0.5, 0.9}), []scene.Span{{0.47, 0.95}}},
		"a pause of 0.15 s":     {words(2, scene.Span{0.5, 0.7}, scene.Span{0.85, 1}), []scene.Span{{0.47, 1.05}}},
		"a pause of 0.4 s":      {words(2, scene.Span{0.5, 0.7}, scene.Span{1.1, 1.3}), []scene.Span{{0.47, 0.75}, {1.07, 1.35}}},
		"all of it":             {words(1, scene.Span{0, 1}), []scene.Span{{0, 1}}},
		"silence":               {tone.Silence(48000, 2, 1), nil},
		"nothing":               {samples.NewSound(48000, 1, 0), nil},
		"one sample":            {tone.DC(8000, 1.0/8000, 0.5), []scene.Span{{0, 1.0 / 8000}}},
		"under -70 dBFS":        {tone.White(48000, 1, 1, 0.0002, 1), nil},
		"an odd rate, 192 kHz":  {tone.White(192000, 2, 0.2, 0.1, 1), []scene.Span{{0, 0.2}}},
		"an odd rate, 11025 Hz": {tone.White(11025, 1, 0.333, 0.1, 1), []scene.Span{{0, 0.333}}},
	} {
		if got := scene.Active(c.in); !near(got, c.want, 0.0101) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
	// 20 dB under the words is breath, 10 dB under them is speech: the margin
	// of P.56 lies between.
	for db, spans := range map[float64]int{-20: 1, -10: 2} {
		s := words(3, scene.Span{0.5, 1}, scene.Span{2, 2.5})
		for i := 48000 * 2; i < len(s.Chans[0]); i++ {
			s.Chans[0][i] *= samples.DBAmplitude(db)
		}
		if got := scene.Active(s); len(got) != spans {
			t.Errorf("second word at %g dB: %v", db, got)
		}
	}
}

const sheetText = `sample_rate = 48000
bit_depth = 16
[engine]
cylinders = 2
strokes = 2
idle_rpm = 1600
redline_rpm = 8000
[category.music]
files = ["bed.wav"]
[category.callout]
files = ["call.wav", "six.wav", "quiet.wav"]
`

func build(t *testing.T, dir, cues string) (*scene.Timeline, error) {
	t.Helper()
	sh, err := sheet.Parse("s.toml", []byte(sheetText+"[[scene]]\nname = \"one\"\nlength_s = 10\n"+cues), dir)
	if err != nil {
		t.Fatal(err)
	}
	return scene.Build(sh, scene.NewLibrary(sh.SampleRateHz), "one")
}

func fill(t *testing.T) string {
	dir := t.TempDir()
	write(t, dir, "bed.wav", tone.White(48000, 2, 3, 0.1, 1), samples.Loop{Start: 4800, End: 96000})
	write(t, dir, "call.wav", words(2, scene.Span{0.5, 0.9}, scene.Span{1.3, 1.6}))
	write(t, dir, "quiet.wav", tone.Silence(48000, 1, 1))
	six := samples.NewSound(48000, 6, 1000)
	for c := range six.Chans {
		for i := range six.Chans[c] {
			six.Chans[c][i] = math.Pow(10, float64(-c)) / 2
		}
	}
	write(t, dir, "six.wav", six)
	write(t, dir, "loose.wav", words(1, scene.Span{0, 1}))
	if err := os.WriteFile(filepath.Join(dir, "c.csv"), []byte("0,2000\n4,3000\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "bad.csv"), []byte("0,2000\nx,3000\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "text.wav"), []byte("no sound"), 0o666); err != nil {
		t.Fatal(err)
	}
	write(t, dir, "empty.wav", samples.NewSound(48000, 1, 0))
	return dir
}

func TestBuildLaysOutAScene(t *testing.T) {
	dir := fill(t)
	tl, err := build(t, dir, `[[scene.cue]]
at_s = 1.5
sound = "call.wav"
[[scene.cue]]
at_s = 0
sound = "bed.wav"
loop = true
[[scene.cue]]
at_s = 1
engine = "c.csv"
[[scene.cue]]
at_s = 3
engine = "c.csv"
[[scene.cue]]
at_s = 9
sound = "call.wav"
[[scene.cue]]
at_s = 2
sound = "loose.wav"
[[scene.cue]]
at_s = 10
sound = "quiet.wav"
`)
	if err != nil {
		t.Fatal(err)
	}
	type row struct {
		category, path string
		at, end        int64
	}
	var got []row
	for _, e := range tl.Events {
		got = append(got, row{e.Category, e.Path, e.At, e.End})
	}
	want := []row{
		{"music", "bed.wav", 0, 480000}, {"engine", "c.csv", 48000, 144000}, {"callout", "call.wav", 72000, 168000},
		{"uncategorised", "loose.wav", 96000, 144000}, {"engine", "c.csv", 144000, 336000}, {"callout", "call.wav", 432000, 480000},
		{"callout", "quiet.wav", 480000, 480000},
	}
	if !slices.Equal(got, want) {
		t.Errorf("events\n%v\nwant\n%v", got, want)
	}
	if c := tl.Categories(); !slices.Equal(c, []string{"music", "callout", "engine", "uncategorised"}) {
		t.Errorf("categories %v", c)
	}
	if a := tl.Events[2].Active; !near(a, []scene.Span{{1.97, 2.45}, {2.77, 3.15}}, 0.0101) {
		t.Errorf("the callout speaks %v", a)
	}
	if a := tl.Events[5].Active; !near(a, []scene.Span{{9.47, 9.95}}, 0.0101) {
		t.Errorf("the callout at the end speaks %v", a)
	}
	if a := tl.Events[0].Active; !near(a, []scene.Span{{0, 10}}, 0) {
		t.Errorf("the bed speaks %v", a)
	}
	if l := tl.Events[0].Clip.Loop; l.Start != 4800 || l.End != 96000 {
		t.Errorf("loop %v", l)
	}
	if tl.Events[2].Clip != tl.Events[5].Clip {
		t.Error("the same file was read twice")
	}
	if !tl.Stereo() || !tl.HasEngine() || tl.Frames != 480000 {
		t.Errorf("stereo %v, engine %v, %d frames", tl.Stereo(), tl.HasEngine(), tl.Frames)
	}
	var warned []string
	for _, w := range tl.Warnings {
		warned = append(warned, w.Error())
	}
	for _, want := range []string{
		"s.toml:29:1: scene[1].cue[5].at_s: call.wav is cut off by the end of the scene, 1.00 s before its own",
		"quiet.wav: is under -70 dBFS throughout; it never speaks, so nothing yields to it",
	} {
		if !slices.Contains(warned, want) {
			t.Errorf("no warning %q in %q", want, warned)
		}
	}
}

func TestBuildPlacesEveryProblem(t *testing.T) {
	dir := fill(t)
	_, err := build(t, dir, `[[scene.cue]]
at_s = 0
sound = "text.wav"
[[scene.cue]]
at_s = 0
engine = "bad.csv"
[[scene.cue]]
at_s = 0
sound = "empty.wav"
`)
	var errs sheet.Errors
	if !errors.As(err, &errs) || len(errs) != 3 {
		t.Fatalf("got %v", err)
	}
	for i, want := range []string{
		"s.toml:17:1: scene[1].cue[1].sound: text.wav: not a sound file",
		`s.toml:20:1: scene[1].cue[2].engine: bad.csv:2: column 1, "x", is not a number`,
		"s.toml:23:1: scene[1].cue[3].sound: empty.wav: there is no sound in it",
	} {
		if got := errs[i].Error(); !strings.HasPrefix(got, want) {
			t.Errorf("got  %s\nwant %s", got, want)
		}
	}
	sh, err := sheet.Parse("s.toml", []byte(sheetText+"[[scene]]\nname = \"one\"\nlength_s = 10\n"), dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := scene.Build(sh, scene.NewLibrary(48000), "two"); err == nil || err.Error() != `s.toml: no scene is called "two"; it has "one"` {
		t.Errorf("got %v", err)
	}
	sh.Scenes = nil
	if _, err := scene.Build(sh, scene.NewLibrary(48000), "two"); err == nil || !strings.HasPrefix(err.Error(), "s.toml: there is no scene in this sheet") {
		t.Errorf("got %v", err)
	}
}

// 5.1 without a mask: left 0.5, right 0.05, centre 0.005, LFE 0.0005, left
// surround 0.00005, right surround 0.000005; BS.775 at equal power.
func TestSixChannelsAreFoldedDown(t *testing.T) {
	tl, err := build(t, fill(t), "[[scene.cue]]\nat_s = 0\nsound = \"six.wav\"\n")
	if err != nil {
		t.Fatal(err)
	}
	s := tl.Events[0].Clip.Sound
	if s.Channels() != 2 {
		t.Fatalf("%d channels", s.Channels())
	}
	h := math.Sqrt(0.5)
	if l, r := s.Chans[0][9], s.Chans[1][9]; math.Abs(l-(0.5+h*0.005+h*0.00005)) > 1e-7 || math.Abs(r-(0.05+h*0.005+h*0.000005)) > 1e-7 {
		t.Errorf("left %.7f, right %.7f", l, r)
	}
}

// What a file says of when it speaks is what a scene with it goes by: without
// the low-frequency channel, which is not played, and without broken samples.
func TestSpeaksAsInAScene(t *testing.T) {
	dir := fill(t)
	six := samples.NewSound(48000, 6, 2*48000)
	copy(six.Chans[2], words(2, scene.Span{FromS: 0.5, ToS: 0.9}).Chans[0])
	copy(six.Chans[3], words(2, scene.Span{FromS: 1.3, ToS: 1.9}).Chans[0])
	six.Chans[0][100] = math.NaN()
	write(t, dir, "surround.wav", six)
	tl, err := build(t, dir, "[[scene.cue]]\nat_s = 0\nsound = \"surround.wav\"\n")
	if err != nil {
		t.Fatal(err)
	}
	got := scene.Speaks(six)
	if want := []scene.Span{{FromS: 0.47, ToS: 0.95}}; !near(got, want, 0.0101) || !near(got, tl.Events[0].Active, 1e-9) {
		t.Errorf("%v, in a scene %v", got, tl.Events[0].Active)
	}
	if !math.IsNaN(six.Chans[0][100]) {
		t.Error("the sound was changed")
	}
}
