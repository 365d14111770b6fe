package sheet

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const absentSheet = `sample_rate = 48000
bit_depth = 16
[engine]
cylinders = 2
strokes = 2
idle_rpm = 1600
redline_rpm = 8200
[[engine.recording]]
file = "engine/gone.wav"
rpm = 2000
[[engine.recording]]
file = "engine/hold-2000.wav"
rpm = 2000
[category.callout]
files = ["callouts/t-*.wav", "calouts/*.wav"]
[category.effect]
files = ["effects/*.wav"]
[listening]
level_at_ear_db = 82
noise_dba = 78
speaker_response = "cab.csw"
[[scene]]
name = "ride"
length_s = 4
[[scene.cue]]
at_s = 0
sound = "music/man.ogg"
[[scene.cue]]
at_s = 1
sound = "callouts/t-go.wav"
[[scene.cue]]
at_s = 2
engine = "curves/gone.csv"
`

// absentProblems is what both loaders say of absentSheet, in order.
const absentProblems = `FILE:9:1: engine.recording[1].file: "engine/gone.wav" does not exist
FILE:15:30: category.callout.files[2]: "calouts/*.wav" matches no file; there is no folder "calouts"
FILE:17:10: category.effect.files[1]: "effects/*.wav" matches no file; there is no folder "effects"
FILE:21:1: listening.speaker_response: "cab.csw" does not exist; did you mean "cab.csv"?
FILE:27:1: scene[1].cue[1].sound: "music/man.ogg" does not exist; did you mean "music/main.ogg"?
FILE:33:1: scene[1].cue[3].engine: "curves/gone.csv" does not exist`

func writeSheet(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(writePackage(t), "soundsheet.toml")
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

func problems(path, text string) string {
	return strings.ReplaceAll(text, "FILE", path)
}

func TestLenientSetsAbsentFilesAside(t *testing.T) {
	path := writeSheet(t, absentSheet)
	s, absent, err := LoadLenient(path)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := Errors(absent).Error(), problems(path, absentProblems); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if p := absent[1].Path; p != "calouts/*.wav" {
		t.Errorf("path %q", p)
	}
	if r := s.Engine.Recordings; len(r) != 1 || r[0].Key != "engine.recording[2]" || r[0].File.Rel != "engine/hold-2000.wav" {
		t.Errorf("recordings %+v", r)
	}
	if c := s.Categories; len(c) != 2 || len(c[0].Files) != 1 || c[0].Files[0].Rel != "callouts/t-go.wav" || len(c[1].Files) != 0 {
		t.Errorf("categories %+v", c)
	}
	if q := s.Scenes[0].Cues; len(q) != 1 || q[0].Key != "scene[1].cue[2]" {
		t.Errorf("cues %+v", q)
	}
	if s.Listening == nil || s.Listening.ResponseFile != nil {
		t.Errorf("listening %+v", s.Listening)
	}
	if used := s.Used(); len(used) != 2 {
		t.Errorf("used %v", used)
	}
}

func TestLoadStaysStrict(t *testing.T) {
	path := writeSheet(t, absentSheet)
	s, err := Load(path)
	if s != nil || err == nil || err.Error() != problems(path, absentProblems) {
		t.Errorf("%v, %v", s, err)
	}
}

// TestLenientFailsOnTheRest: anything else is an error, told together with
// the absent files.
func TestLenientFailsOnTheRest(t *testing.T) {
	for _, text := range []string{
		strings.Replace(absentSheet, "strokes = 2", "strokes = 3", 1),
		strings.Replace(absentSheet, "engine/gone.wav", "engine/*.wav", 1),
		strings.Replace(absentSheet, "engine/gone.wav", "../gone.wav", 1),
		strings.Replace(absentSheet, "effects/*.wav", "callouts", 1),
		"title = ",
	} {
		path := writeSheet(t, text)
		_, strict := Load(path)
		s, absent, err := LoadLenient(path)
		if s != nil || absent != nil || err == nil || err.Error() != strict.Error() {
			t.Errorf("got %v\nwant %v", err, strict)
		}
	}
	if _, _, err := LoadLenient(filepath.Join(t.TempDir(), "gone.toml")); err == nil {
		t.Error("a sheet that is not there is no sheet")
	}
}

// TestLenientKeepsWhatAPatternFinds: a link to nothing does not take the files
// beside it along.
func TestLenientKeepsWhatAPatternFinds(t *testing.T) {
	path := writeSheet(t, "category.x.files = ['callouts/*.wav']\n")
	if err := os.Symlink("nowhere.wav", filepath.Join(filepath.Dir(path), "callouts", "link.wav")); err != nil {
		t.Skip(err)
	}
	s, absent, err := LoadLenient(path)
	if err != nil || len(absent) != 1 || len(s.Files("x")) != 3 {
		t.Errorf("%v, %v", absent, err)
	}
	if _, err := Load(path); err == nil {
		t.Error("no error")
	}
}
