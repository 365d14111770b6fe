package sheet

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"tachbench/samples/crank"
)

// packageFiles are what the Snow Depot sheet names, and some it does not.
var packageFiles = map[string]string{
	"engine/hold-2000.wav":   "",
	"engine/pull.wav":        "",
	"callouts/catch-it.wav":  "",
	"callouts/Ready.wav":     "",
	"callouts/t-go.wav":      "",
	"callouts/deep/far.wav":  "",
	"callouts/notes.txt":     "",
	"callouts/.hidden.wav":   "",
	"music/main.ogg":         "",
	"odd/[1].wav":            "",
	"empty.wav":              "",
	"cab.csv":                "hz,db\n50,-12\n110,-3\n1000,0\n",
	"curves/launch.csv":      "time_s,rpm\n0,1600\n",
	"curves/backwards.csv":   "# measured by hand\n100,0\n\n100,1\n50,x\n7,200\n",
	"curves/semicolon.csv":   "100;0\n200;1,5\n",
	"curves/heading.csv":     "db,hz\n0,100\n",
	"curves/one-row.csv":     "100,0\n",
	"curves/latin1.csv":      "100,0 \xb0\n",
	"curves/not-numbers.csv": "nan,0\n1_00,0\n0x10,0\n",
}

func writePackage(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range packageFiles {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func snowDepot(t testing.TB) []byte {
	t.Helper()
	data, err := os.ReadFile("testdata/snow-depot.toml")
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func rels(files []File) []string {
	var out []string
	for _, f := range files {
		out = append(out, f.Rel)
	}
	return out
}

func ptr(x float64) *float64 { return &x }

// TestSnowDepot reads the sheet that documents every stable key.
func TestSnowDepot(t *testing.T) {
	dir := writePackage(t)
	path := filepath.Join(dir, "soundsheet.toml")
	if err := os.WriteFile(path, snowDepot(t), 0o666); err != nil {
		t.Fatal(err)
	}
	s, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Warnings) != 0 {
		t.Errorf("warnings: %v", Errors(s.Warnings))
	}
	at := func(rel string) Path { return Path{Rel: rel, Abs: filepath.Join(dir, filepath.FromSlash(rel))} }
	check := func(what string, got, want any) {
		t.Helper()
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s:\n got %+v\nwant %+v", what, got, want)
		}
	}
	check("title", s.Title, "Snow Depot")
	check("rate", s.SampleRateHz, 48000)
	check("depth", s.BitDepth, 16)
	check("layout", s.Layout(), crank.Layout{Cylinders: 2, Strokes: 2, Firing: []float64{0, 180}})
	check("idle", s.Engine.IdleRPM, 1600.0)
	check("redline", s.Engine.RedlineRPM, 8200.0)
	check("crank", s.Engine.Crank, Crank{Preset: "snow sled", RiseS: ptr(0.9), FallS: ptr(1.6)})
	check("recordings", s.Engine.Recordings, []Recording{
		{Key: "engine.recording[1]", File: at("engine/hold-2000.wav"), RPM: ptr(2000), Load: 1},
		{Key: "engine.recording[2]", File: at("engine/pull.wav"), Load: 1, RPMFrom: ptr(1500), RPMTo: ptr(8000)},
	})
	callouts := "category.callout.files[1]"
	check("categories", s.Categories, []Category{
		{Name: "callout", Key: "category.callout", TargetLUFS: ptr(-19), ToleranceLU: 1, Priority: 3, Files: []File{
			{Path: at("callouts/Ready.wav"), Key: callouts},
			{Path: at("callouts/catch-it.wav"), Key: callouts},
			{Path: at("callouts/t-go.wav"), Key: callouts, StandIn: true, OneWord: true},
		}},
		{Name: "music", Key: "category.music", ToleranceLU: 1, Files: []File{
			{Path: at("music/main.ogg"), Key: "category.music.files[1]"},
		}},
	})
	cab := at("cab.csv")
	check("listening", *s.Listening, Listening{
		LevelAtEarDB: 82, NoiseDBA: 78, NoiseShape: "crowd", SpeakerLowCutHz: ptr(110),
		SpeakerResponse: []ResponsePoint{{50, -12}, {110, -3}, {1000, 0}}, ResponseFile: &cab,
	})
	check("rev bands", s.RevBands, []RevBand{
		{Key: "rev_band[1]", Name: "catch", FromRPM: 4800, ToRPM: 6100, Catch: true, Lamp: "#c8a400"},
	})
	r, g, b, ok := s.RevBands[0].RGB()
	check("lamp", []any{r, g, b, ok}, []any{uint8(0xc8), uint8(0xa4), uint8(0), true})
	main, curve, catch := at("music/main.ogg"), at("curves/launch.csv"), at("callouts/catch-it.wav")
	check("scenes", s.Scenes, []Scene{{Key: "scene[1]", Name: "launch", LengthS: 12, Cues: []Cue{
		{Key: "scene[1].cue[1]", AtS: 0, Sound: &main, Loop: true},
		{Key: "scene[1].cue[2]", AtS: 1, Curve: &curve},
		{Key: "scene[1].cue[3]", AtS: 4.2, Sound: &catch},
	}}})
	var used []string
	for _, p := range s.Used() {
		used = append(used, p.Rel)
	}
	check("used", used, []string{"cab.csv", "callouts/Ready.wav", "callouts/catch-it.wav", "callouts/t-go.wav",
		"curves/launch.csv", "engine/hold-2000.wav", "engine/pull.wav", "music/main.ogg"})
	check("files", rels(s.Files("music")), []string{"music/main.ogg"})
	check("no such category", s.Files("speech"), []File(nil))
	check("has", []bool{s.Has("title"), s.Has("engine.crank.lag_s"), s.Has("scene[1].cue[3].at_s")}, []bool{true, false, true})
	check("errorf", s.Errorf("engine.crank.preset", "no preset %q", "x").Error(), path+`:13:1: engine.crank.preset: no preset "x"`)
	check("errorf elsewhere", s.Errorf("engine.crank.lag_s", "x").Line, 12)
	check("errorf nowhere", s.Errorf("nowhere", "x").Line, 1)
}

func TestDefaults(t *testing.T) {
	dir := writePackage(t)
	s, err := Parse("s.toml", nil, dir)
	if err != nil {
		t.Fatal(err)
	}
	if s.Title != filepath.Base(dir) || s.SampleRateHz != 48000 || s.BitDepth != 16 || s.Engine != nil || s.Listening != nil {
		t.Errorf("got %+v", s)
	}
	if got := s.Layout(); !reflect.DeepEqual(got, crank.Layout{}) {
		t.Errorf("layout %+v without an engine", got)
	}
	want := "s.toml:1:1: sample_rate: missing, 48000 Hz is assumed\ns.toml:1:1: bit_depth: missing, 16 bits are assumed"
	if got := Errors(s.Warnings).Error(); got != want {
		t.Errorf("warnings:\n%s\nwant\n%s", got, want)
	}
}

// TestOtherSpellings: the same data in the other ways TOML allows.
func TestOtherSpellings(t *testing.T) {
	dir := writePackage(t)
	const text = "\ufeffsample_rate=44_100\r\nbit_depth=24\r\n" + `
category = { effect = { files = ["empty.wav"], limits = { dc_offset = 0.01, "odd.name" = 2 } }, "a.b" = { files = ["./callouts/../music/main.ogg"], priority = 7 } }
scene = [ { name = "s", length_s = 2, cue = [ { at_s = 0, sound = "empty.wav" }, { at_s = 1, sound = "odd/[1].wav" } ] } ]
engine.cylinders = 1
engine.strokes = 4
engine.idle_rpm = 900.5
engine.redline_rpm = 7e3
engine.recording = [{ file = "empty.wav", load = 0 }, { file = "empty.wav" }]
[listening]
level_at_ear_db = 80
noise_dba = 70
noise_shape = [0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1, -1.5]
`
	s, err := Parse("s.toml", []byte(text), dir)
	if err != nil {
		t.Fatal(err)
	}
	if s.SampleRateHz != 44100 || s.BitDepth != 24 || s.Engine.RedlineRPM != 7000 || s.Engine.FiringAngles != nil {
		t.Errorf("got %+v", s)
	}
	if len(s.Categories) != 2 || s.Categories[0].Name != "effect" || s.Categories[1].Name != "a.b" {
		t.Fatalf("categories %+v", s.Categories)
	}
	if got := s.Files("a.b"); len(got) != 1 || got[0].Rel != "music/main.ogg" {
		t.Errorf("files %+v", got)
	}
	if l := s.Categories[0].Limits; len(l) != 2 || l["dc_offset"] != 0.01 || l["odd.name"] != 2 {
		t.Errorf("limits %v", l)
	}
	if n := s.Listening.NoiseOffsetsDB; s.Listening.NoiseShape != "" || len(n) != 18 || n[17] != -1.5 {
		t.Errorf("noise %q %v", s.Listening.NoiseShape, n)
	}
	// place finds the line and column of a piece of the text by itself.
	place := func(piece string) string {
		at := strings.Index(text, piece)
		line := 1 + strings.Count(text[:at], "\n")
		return fmt.Sprintf("s.toml:%d:%d: ", line, at-strings.LastIndex(text[:at], "\n"))
	}
	for key, piece := range map[string]string{
		"category.effect.limits.dc_offset":              "dc_offset",
		JoinKey("category.effect.limits", "odd.name"):   `"odd.name"`,
		`category."a.b".priority`:                       "priority",
		`category."a.b".target_lufs`:                    `"a.b"`, // not there: its table
		"scene[1].cue[2].sound":                         `sound = "odd`,
		"engine.recording[1].load":                      "load",
		"engine.recording[2].rpm":                       `{ file = "empty.wav" }`,
		"listening.noise_shape[18]":                     "-1.5",
		`category.nothing."with \" quote".and[3]."x.y"`: "category",
	} {
		if got, want := s.Errorf(key, "wrong").Error(), place(piece)+key+": wrong"; got != want {
			t.Errorf("got  %s\nwant %s", got, want)
		}
	}
	want := place(`sound = "odd`) + `scene[1].cue[2].sound: "odd/[1].wav" is in no category; it has neither a target nor a priority` + "\n" +
		place(`file = "empty.wav" }]`) + `engine.recording[2].file: "empty.wav" is named by engine.recording[1] already`
	if got := Errors(s.Warnings).Error(); got != want {
		t.Errorf("warnings:\n%s\nwant\n%s", got, want)
	}
}

func TestPatterns(t *testing.T) {
	dir := writePackage(t)
	for _, c := range []struct {
		pattern string
		want    []string // in byte order: upper case first
	}{
		{"callouts/*.wav", []string{"callouts/Ready.wav", "callouts/catch-it.wav", "callouts/t-go.wav"}},
		{"callouts/**/*.wav", []string{"callouts/Ready.wav", "callouts/catch-it.wav", "callouts/deep/far.wav", "callouts/t-go.wav"}},
		{"callouts/**", []string{"callouts/Ready.wav", "callouts/catch-it.wav", "callouts/deep/far.wav", "callouts/notes.txt", "callouts/t-go.wav"}},
		{"**/[cf]*.wav", []string{"callouts/catch-it.wav", "callouts/deep/far.wav"}},
		{"{music,callouts}/{main,Ready}.*", []string{"callouts/Ready.wav", "music/main.ogg"}},
		{"./engine//*.wav", []string{"engine/hold-2000.wav", "engine/pull.wav"}},
		{"odd/[1].wav", []string{"odd/[1].wav"}},
		{"callouts/.hidden.wav", []string{"callouts/.hidden.wav"}},
	} {
		s, err := Parse("s.toml", []byte("category.x.files = ['"+c.pattern+"']"), dir)
		if err != nil {
			t.Errorf("%s: %v", c.pattern, err)
			continue
		}
		if got := rels(s.Files("x")); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.pattern, got, c.want)
		}
	}
}

// TestFilesOnce: two patterns that meet give a file once, where the first
// named it; a stand-in is counted apart wherever it is named.
func TestFilesOnce(t *testing.T) {
	s, err := Parse("s.toml", []byte(`category.x.files = ["callouts/t-go.wav", "callouts/*.wav"]
category.x.stand_in = ["music/*", "callouts/t-*"]`), writePackage(t))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, f := range s.Files("x") {
		mark := ""
		if f.StandIn {
			mark = " stand-in"
		}
		got = append(got, f.Rel+mark)
	}
	want := []string{"callouts/t-go.wav stand-in", "callouts/Ready.wav", "callouts/catch-it.wav", "music/main.ogg stand-in"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// A single word is marked wherever the file itself is named.
func TestOneWord(t *testing.T) {
	s, err := Parse("s.toml", []byte(`category.callout.files = ["callouts/t-go.wav"]
category.callout.stand_in = ["callouts/*.wav"]
category.callout.one_word = ["callouts/t-*", "callouts/Ready.wav", "callouts/R*.wav"]`), writePackage(t))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, f := range s.Files("callout") {
		if f.OneWord {
			got = append(got, f.Rel)
		}
	}
	if want := []string{"callouts/t-go.wav", "callouts/Ready.wav"}; !slices.Equal(got, want) || len(s.Files("callout")) != 3 {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestLinks(t *testing.T) {
	dir := writePackage(t)
	outside := t.TempDir()
	if err := os.WriteFile(filepath.Join(outside, "secret.wav"), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	for name, to := range map[string]string{
		"out.wav":         filepath.Join(outside, "secret.wav"),
		"outdir":          outside,
		"inside.wav":      "music/main.ogg",
		"loop/again":      "..",
		"loop/nothing":    "nowhere",
		"tree/inside-dir": "../callouts",
	} {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(to, path); err != nil {
			t.Skip("no symbolic links here: ", err)
		}
	}
	for _, c := range []struct{ pattern, want string }{
		{"inside.wav", ""},
		{"tree/inside-dir/Ready.wav", ""},
		{"tree/inside-dir/*.wav", ""},
		{"out.wav", `"out.wav" leads out of the sheet's folder through a symbolic link; copy the file into the folder`},
		{"outdir/secret.wav", `"outdir/secret.wav" leads out of the sheet's folder through a symbolic link; copy the file into the folder`},
		{"outdir/*.wav", `"outdir" leads out of the sheet's folder through a symbolic link; copy the files into the folder`},
		{"{outdir,music}/*.wav", `"outdir/secret.wav" leads out of the sheet's folder through a symbolic link; copy the file into the folder`},
		{"o*.wav", `"out.wav" leads out of the sheet's folder through a symbolic link; copy the file into the folder`},
		{"loop/nothing", `"loop/nothing" is a symbolic link to nothing`},
		{"tree/**", `"tree/**" matches no file; the folder "tree" holds "inside-dir"`},
	} {
		_, err := Parse("s.toml", []byte("sample_rate=48000\nbit_depth=16\ncategory.x.files = ['"+c.pattern+"']"), dir)
		got := ""
		if err != nil {
			got = strings.TrimPrefix(err.Error(), "s.toml:3:21: category.x.files[1]: ")
		}
		if got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.pattern, got, c.want)
		}
	}
	// The sheet's folder itself may be reached through a link.
	link := filepath.Join(t.TempDir(), "package")
	if err := os.Symlink(dir, link); err != nil {
		t.Fatal(err)
	}
	s, err := Parse("s.toml", []byte("category.x.files = ['music/*']"), link)
	if err != nil || s.Files("x")[0].Abs != filepath.Join(link, "music", "main.ogg") {
		t.Errorf("through a link: %v", err)
	}
}

func TestLoadFailures(t *testing.T) {
	dir := t.TempDir()
	missing := filepath.Join(dir, "soundsheet.toml")
	_, err := Load(missing)
	if !errors.Is(err, fs.ErrNotExist) || err.Error() != missing+": cannot be read: no such file or directory" {
		t.Errorf("missing: %v", err)
	}
	if _, err = Load(dir); err == nil || err.Error() != dir+": is a folder, not a file" {
		t.Errorf("folder: %v", err)
	}
	large := filepath.Join(dir, "take-1.wav")
	if err := os.WriteFile(large, make([]byte, maxSheetBytes+1), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err = Load(large); err == nil || err.Error() != large+": is larger than 1048576 bytes and surely no text of this kind" {
		t.Errorf("large: %v", err)
	}
}

func TestErrorsAsAWhole(t *testing.T) {
	_, err := Parse("s.toml", []byte("[engine]\nstrokes = 3\nidle_rpm = 50\n"), writePackage(t))
	var all Errors
	if !errors.As(err, &all) || len(all) != 4 {
		t.Fatalf("got %v", err)
	}
	if got, want := all.Summary(), `s.toml:1:2: engine.cylinders: missing; must be a whole number, 1 to 16 (and 3 more problems)`; got != want {
		t.Errorf("got %s\nwant %s", got, want)
	}
	if got := all[:2].Summary(); !strings.HasSuffix(got, "(and 1 more problem)") {
		t.Error(got)
	}
	if got := all[:1].Summary(); got != all[0].Error() {
		t.Error(got)
	}
	var one *Error
	if !errors.As(err, &one) || one.Line != 1 {
		t.Errorf("errors.As gives %v", one)
	}
	if got := (&Error{File: "a\nb", Text: "c\rd\u2028e"}).Error(); got != "a\uFFFDb: c\uFFFDd\uFFFDe" {
		t.Errorf("not on one line: %q", got)
	}
}

func TestEditDistance(t *testing.T) {
	// kitten/sitting and the swap are the textbook cases of the measure.
	for _, c := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"", "abc", 3}, {"kitten", "sitting", 3}, {"ab", "ba", 1}, {"strokes", "stroke", 1}, {"grün", "gruen", 2}} {
		if got := editDistance(c.a, c.b); got != c.want {
			t.Errorf("%q to %q: %d, want %d", c.a, c.b, got, c.want)
		}
	}
}
