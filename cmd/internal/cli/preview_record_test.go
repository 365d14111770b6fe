package cli

import (
	"bytes"
	"context"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"tachbench/samples"
	"tachbench/samples/file"
	"tachbench/samples/wav"
)

// inFolder makes a folder with the files the only one there is.
func inFolder(t *testing.T, files map[string]string) {
	t.Helper()
	t.Chdir(t.TempDir())
	for name, text := range files {
		if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
}

func hissFile(t *testing.T, path string, seed uint64, seconds, peak float64) {
	t.Helper()
	const rate = 48000
	s := samples.NewSound(rate, 1, int(seconds*rate))
	r := rand.New(rand.NewPCG(seed, 0))
	for i := range s.Chans[0] {
		s.Chans[0][i] = peak * (2*r.Float64() - 1)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := file.WriteSound(path, s, wav.Spec{BitDepth: 24}, false); err != nil {
		t.Fatal(err)
	}
}

func mustRun(t *testing.T, args ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	if status := Run(context.Background(), args, Streams{In: &bytes.Buffer{}, Out: &out, Err: &errs}); status != exitDone {
		t.Fatalf("%v: status %d: %s", args, status, errs.String())
	}
	return out.String()
}

// What preview records is what mix renders, turned down by the headphone
// volume, once the bench has come up from silence, a half second at most, and
// as late as its limiter looks ahead, two milliseconds at most.
func TestPreviewRecordsTheMix(t *testing.T) {
	inFolder(t, map[string]string{
		"sheet.toml": `
sample_rate = 48000
bit_depth = 24
[category.callout]
files = ["callouts/*.wav"]
priority = 3
[category.music]
files = ["music/*"]
priority = 1
[[scene]]
name = "start"
length_s = 4
[[scene.cue]]
at_s = 0
sound = "music/bed.wav"
loop = true
[[scene.cue]]
at_s = 2
sound = "callouts/go.wav"
`,
		"plan.toml": `
[[trim]]
category = "music"
trim_db = -3
[[ducking]]
under = "callout"
category = "music"
depth_db = 12
attack_ms = 60
hold_ms = 0
release_ms = 500
`})
	hissFile(t, "music/bed.wav", 1, 1, 0.2)
	hissFile(t, "callouts/go.wav", 2, 0.6, 0.2)
	for _, c := range []struct{ mix, preview []string }{
		{[]string{"--plain"}, nil},
		{[]string{"--plan", "plan.toml"}, []string{"--plan", "plan.toml"}},
	} {
		mustRun(t, append([]string{"mix", "sheet.toml", "--scene", "start", "--out", "mix.wav", "--force"}, c.mix...)...)
		mustRun(t, append([]string{"preview", "sheet.toml", "--scene", "start", "--volume", "-20", "--to", "heard.wav", "--force"}, c.preview...)...)
		mix, _, err := file.Load("mix.wav")
		if err != nil {
			t.Fatal(err)
		}
		heard, info, err := file.Load("heard.wav")
		if err != nil {
			t.Fatal(err)
		}
		if info.Channels != 2 || info.RateHz != 48000 || heard.Frames() != 4*48000+480 {
			t.Fatalf("%d channels, %d Hz, %d frames", info.Channels, info.RateHz, heard.Frames())
		}
		const from, most = 24000, 96
		gain := math.Pow(10, -20.0/20)
		if c.preview != nil {
			// Planned and plain are heard equally loud: the louder is turned
			// down. How far is the bench's matter; it has to be one gain.
			gain = fit(heard.Chans[0], mix.Chans[0], from, late(heard.Chans[0], mix.Chans[0], from, most))
			if gain > 0.1*(1+1e-6) {
				t.Errorf("planned is turned up to %g", gain)
			}
		}
		delay := late(heard.Chans[0], mix.Chans[0], from, most)
		worst := 0.0
		for ch := range 2 {
			for i := from; i < mix.Frames(); i++ {
				worst = max(worst, math.Abs(heard.Chans[ch][i+delay]-gain*mix.Chans[0][i]))
			}
		}
		// 24 bits with triangular dither, a tenth as loud, and 32-bit floats.
		if worst > 0.1*3/(1<<23)+1e-7 {
			t.Errorf("%v: off by %.2g with a delay of %d frames and a gain of %.6f", c.preview, worst, delay, gain)
		}
	}
}

// late finds by how many frames a trails b.
func late(a, b []float64, from, most int) int {
	best, at := -1.0, 0
	for d := range most + 1 {
		sum := 0.0
		for i := from; i < from+4800; i++ {
			sum += a[i+d] * b[i]
		}
		if sum > best {
			best, at = sum, d
		}
	}
	return at
}

// fit finds how much louder a is than b.
func fit(a, b []float64, from, delay int) float64 {
	ab, bb := 0.0, 0.0
	for i := from; i < len(b); i++ {
		ab += a[i+delay] * b[i]
		bb += b[i] * b[i]
	}
	return ab / bb
}

// An interrupted recording leaves nothing behind.
func TestPreviewInterrupted(t *testing.T) {
	inFolder(t, map[string]string{"sheet.toml": `
sample_rate = 48000
bit_depth = 16
[category.music]
files = ["music/*"]
priority = 1
[[scene]]
name = "start"
length_s = 4
[[scene.cue]]
at_s = 0
sound = "music/bed.wav"
`})
	hissFile(t, "music/bed.wav", 1, 1, 0.2)
	j := &previewJob{o: previewOptions{sheet: "sheet.toml", to: "x.wav", volume: -30}}
	if err := j.read(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var errs bytes.Buffer
	p, err := j.prepare(ctx, Streams{Err: &errs, Out: &errs})
	if err != nil {
		t.Fatal(err)
	}
	cancel()
	if err := j.record(ctx, Streams{Err: &errs, Out: &errs}, p); err != context.Canceled {
		t.Error(err)
	}
	left, err := filepath.Glob(".*")
	more, _ := filepath.Glob("x*")
	if err != nil || len(left)+len(more) > 0 {
		t.Error("left behind:", left, more)
	}
}
