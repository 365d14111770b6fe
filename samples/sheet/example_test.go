package sheet_test

import (
	"fmt"
	"os"
	"path/filepath"

	"tachbench/samples/sheet"
)

// depot makes a small package and returns its folder.
func depot() string {
	dir, err := os.MkdirTemp("", "snow-depot")
	if err != nil {
		panic(err)
	}
	for _, name := range []string{"catch-it.wav", "go.wav", "t-ready.wav"} {
		path := filepath.Join(dir, "callouts", name)
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			panic(err)
		}
		if err := os.WriteFile(path, nil, 0o666); err != nil {
			panic(err)
		}
	}
	return dir
}

func ExampleParse() {
	dir := depot()
	defer os.RemoveAll(dir)
	s, err := sheet.Parse("soundsheet.toml", []byte(`
title = "Snow Depot"
sample_rate = 48000
bit_depth = 16
[category.callout]
files = ["callouts/*.wav"]
stand_in = ["callouts/t-*.wav"]
target_lufs = -19
`), dir)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, f := range s.Files("callout") {
		fmt.Println(f.Rel, f.StandIn)
	}
	// Output:
	// callouts/catch-it.wav false
	// callouts/go.wav false
	// callouts/t-ready.wav true
}

func ExampleErrors() {
	dir := depot()
	defer os.RemoveAll(dir)
	_, err := sheet.Parse("soundsheet.toml", []byte(`
sample_rate = 48000
bit_depth = 16

[engine]
cylinders = 2
strokes = 3
idle_rpm = 1600
redline_rpm = 8200

[category.callout]
files = ["callouts/*.flac"]
target_luffs = -19
`), dir)
	fmt.Println(err)
	// Output:
	// soundsheet.toml:7:1: engine.strokes: must be 2 or 4, not 3
	// soundsheet.toml:12:10: category.callout.files[1]: "callouts/*.flac" matches no file; the folder "callouts" holds "catch-it.wav" and 2 more
	// soundsheet.toml:13:1: category.callout.target_luffs: unknown key; did you mean target_lufs?
}

func ExampleSheet_Errorf() {
	dir := depot()
	defer os.RemoveAll(dir)
	s, err := sheet.Parse("soundsheet.toml", []byte(`sample_rate = 48000
bit_depth = 16
[category.callout]
files = ["callouts/*.wav"]
[category.callout.limits]
hum_bd = -60
`), dir)
	if err != nil {
		fmt.Println(err)
		return
	}
	c := s.Category("callout")
	for name := range c.Limits {
		e := s.Errorf(sheet.JoinKey(c.Key+".limits", name), "no limit of this name")
		e.Hint = "did you mean hum_db?"
		fmt.Println(e)
	}
	// Output: soundsheet.toml:6:1: category.callout.limits.hum_bd: no limit of this name; did you mean hum_db?
}
