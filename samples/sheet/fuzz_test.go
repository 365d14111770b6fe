package sheet

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// FuzzParse: whatever the text, there is either a sheet whose promises hold
// or problems that each stand on a line of the sheet, told on one line.
func FuzzParse(f *testing.F) {
	f.Add(snowDepot(f))
	for i, c := range badSheets {
		if i%4 == 0 {
			f.Add([]byte(c.text))
		}
	}
	f.Add([]byte("category.\"a\\\"b\".files = ['**']\nengine = {cylinders = 1, recording = [[], {file = {}}]}\n"))
	dir := writePackage(f)
	f.Fuzz(func(t *testing.T, text []byte) {
		kept := bytes.Clone(text)
		s, err := Parse("s.toml", text, dir)
		if !bytes.Equal(text, kept) {
			t.Fatal("Parse changed its input")
		}
		again, err2 := Parse("s.toml", text, dir)
		if err != nil {
			if s != nil || err2 == nil || err.Error() != err2.Error() {
				t.Fatalf("not the same twice: %v, %v", err, err2)
			}
			checkProblems(t, text, err.(Errors))
			return
		}
		if !reflect.DeepEqual(s, again) {
			t.Fatal("not the same twice")
		}
		checkProblems(t, text, s.Warnings)
		checkPromises(t, dir, s)
	})
}

func checkProblems(t *testing.T, text []byte, all []*Error) {
	lines := bytes.Split(text, []byte("\n"))
	for _, e := range all {
		if strings.ContainsAny(e.Error(), "\n\r") {
			t.Errorf("more than one line: %q", e.Error())
		}
		if e.File != "s.toml" || len(text) > maxSheetBytes {
			continue
		}
		if e.Line < 1 || e.Line > len(lines) || e.Col < 1 || e.Col > len(lines[e.Line-1])+1 {
			t.Errorf("no such place in the sheet: %s", e)
		}
	}
}

func checkPromises(t *testing.T, dir string, s *Sheet) {
	if s.Title == "" || s.SampleRateHz < 8000 || s.SampleRateHz > 192000 || s.BitDepth != 16 && s.BitDepth != 24 {
		t.Errorf("top: %+v", s)
	}
	if e := s.Engine; e != nil && (e.Layout().Validate() != nil || !(e.IdleRPM < e.RedlineRPM)) {
		t.Errorf("engine: %+v", e)
	}
	for _, p := range s.Used() {
		if !filepath.IsLocal(p.Rel) || strings.Contains(p.Rel, `\`) || p.Abs != filepath.Join(dir, filepath.FromSlash(p.Rel)) {
			t.Errorf("path %+v", p)
		}
		if info, err := os.Stat(p.Abs); err != nil || !info.Mode().IsRegular() {
			t.Errorf("path %+v: %v", p, err)
		}
	}
	owners := map[string]int{}
	for _, c := range s.Categories {
		if len(c.Files) == 0 || !(c.ToleranceLU > 0) {
			t.Errorf("category %+v", c)
		}
		for _, f := range c.Files {
			if owners[f.Rel]++; owners[f.Rel] > 1 {
				t.Errorf("%s occurs twice", f.Rel)
			}
		}
		for name, x := range c.Limits {
			if !s.Has(JoinKey(c.Key+".limits", name)) || math.IsNaN(x) || math.IsInf(x, 0) {
				t.Errorf("limit %q is %g", name, x)
			}
		}
	}
	for i, b := range s.RevBands {
		if !(b.FromRPM < b.ToRPM) || i > 0 && b.FromRPM < s.RevBands[i-1].ToRPM {
			t.Errorf("band %+v", b)
		}
		if _, _, _, ok := b.RGB(); ok != (b.Lamp != "") {
			t.Errorf("lamp %q", b.Lamp)
		}
	}
	for _, scene := range s.Scenes {
		for _, q := range scene.Cues {
			if !(q.AtS >= 0 && q.AtS <= scene.LengthS) || (q.Sound == nil) == (q.Curve == nil) {
				t.Errorf("cue %+v", q)
			}
		}
	}
}

func FuzzResponseRow(f *testing.F) {
	for _, s := range []string{"100,-3", " 1e3 , 0.5", "100;0", "nan,0", ",", "1,2,3", "0x10,1", "inf,-inf", "\xff,1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, line string) {
		pt, text, _ := responseRow(line)
		if text == "" && !(pt.Hz >= 1 && pt.Hz <= 100000 && pt.DB >= -120 && pt.DB <= 60) {
			t.Errorf("%q gave %+v", line, pt)
		}
	})
}
