package audit

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tachbench/samples"
	"tachbench/samples/tone"
	"tachbench/samples/wav"
)

// Whatever a file holds, it is either measured or unreadable, and what is
// said about it makes sense.
func FuzzAnyFile(f *testing.F) {
	dir := f.TempDir()
	for i, s := range []*samples.Sound{tone.Sine(8000, 0.02, 440, 0.9, 0), tone.White(8000, 2, 0.02, 0.3, 1), samples.NewSound(8000, 1, 0)} {
		for _, bits := range []int{16, 24} {
			spec := wav.SpecOf(s, bits)
			if i == 0 {
				spec.Loops = []samples.Loop{{Start: 3, End: 150}}
			}
			file, err := os.CreateTemp(dir, "*.wav")
			if err != nil {
				f.Fatal(err)
			}
			if err := wav.Encode(file, s, spec); err != nil {
				f.Fatal(err)
			}
			data, err := os.ReadFile(file.Name())
			if err != nil {
				f.Fatal(err)
			}
			_ = file.Close()
			f.Add(data, i == 0)
			f.Add(data[:len(data)*2/3], i == 1)
		}
	}
	f.Add([]byte{}, false)
	f.Add([]byte("fLaC\x00\x00\x00\x22"), false)
	f.Fuzz(func(t *testing.T, data []byte, callout bool) {
		if len(data) > 1<<16 {
			return
		}
		path := filepath.Join(t.TempDir(), "x.wav")
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
		in := Inputs{Paths: []string{path}}
		if callout {
			in.Category = "callout"
		}
		r, err := Run(context.Background(), in, Options{Charts: true, Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Sounds)+len(r.Unreadable) != 1 {
			t.Fatalf("%d sounds, %d unreadable", len(r.Sounds), len(r.Unreadable))
		}
		for _, u := range r.Unreadable {
			if text := u.Err.Error(); text == "" || strings.Contains(text, "a fault of tachbench") || strings.Contains(text, "\n") {
				t.Fatal(text)
			}
		}
		for _, s := range r.Sounds {
			end := s.DurationS() + 0.001
			if s.Ends.LeadS < 0 || s.Ends.TailS < 0 || s.Ends.LeadS+s.Ends.TailS > end || len(s.Chart.Wave) > chartColumns || len(s.Chart.Loudness) > loudnessPoints {
				t.Fatalf("%+v over %g s, %d columns", s.Ends, end, len(s.Chart.Wave))
			}
			if v := s.Levels.IntegratedLUFS; v.OK() == (math.IsNaN(v.Value)) {
				t.Fatalf("%+v", v)
			}
			for _, x := range s.Findings {
				if x.Message == "" || x.AtS < 0 || x.AtS > end || x.Channel < -1 || x.Channel >= s.Info.Channels {
					t.Fatalf("%g s: %+v", end, x)
				}
			}
		}
	})
}
