//go:build outside

package file

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"tachbench/samples"
	"tachbench/samples/wav"
)

// These tests need libsndfile (through .ci/outside/sndfile_probe.c, whose
// path stands in SNDFILE_PROBE), sndfile-info and ffmpeg. They run from
// .ci/outside/sndfile.sh and fail where a tool is missing.

func tool(t *testing.T, stdin []byte, name string, args ...string) []byte {
	t.Helper()
	if name == "" {
		t.Fatal("SNDFILE_PROBE is not set")
	}
	cmd := exec.Command(name, args...)
	cmd.Stdin = bytes.NewReader(stdin)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, errs.Bytes())
	}
	return out.Bytes()
}

func probe(t *testing.T, stdin []byte, args ...string) []byte {
	t.Helper()
	return tool(t, stdin, os.Getenv("SNDFILE_PROBE"), args...)
}

// grid is noise on the integers of a depth; float on those of float32.
func grid(channels, frames, depth int) *samples.Sound {
	s := samples.NewSound(48000, channels, frames)
	rng := rand.New(rand.NewPCG(1, uint64(depth*channels)))
	full := float64(int64(1) << (depth - 1))
	for c := range s.Chans {
		for i := range s.Chans[c] {
			s.Chans[c][i] = float64(rng.Int64N(int64(2*full))-int64(full)) / full
		}
		s.Chans[c][0], s.Chans[c][1] = -1, (full-1)/full
	}
	return s
}

func interleaved(s *samples.Sound) []byte {
	var b []byte
	for i := range s.Frames() {
		for _, ch := range s.Chans {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(ch[i]))
		}
	}
	return b
}

func sameBytes(t *testing.T, name string, got []byte, want *samples.Sound) {
	t.Helper()
	w := interleaved(want)
	if !bytes.Equal(got, w) {
		for i := 0; i+8 <= min(len(got), len(w)); i += 8 {
			if !bytes.Equal(got[i:i+8], w[i:i+8]) {
				t.Errorf("%s: sample %d is %v, want %v", name, i/8,
					math.Float64frombits(binary.LittleEndian.Uint64(got[i:])), math.Float64frombits(binary.LittleEndian.Uint64(w[i:])))
				return
			}
		}
		t.Errorf("%s: %d samples, want %d", name, len(got)/8, len(w)/8)
	}
}

func TestOutsideReadsOurs(t *testing.T) {
	dir := t.TempDir()
	for _, depth := range []int{16, 24, 32} {
		for _, channels := range []int{1, 2, 6} {
			s := grid(channels, 1001, min(depth, 24))
			if channels == 6 {
				s.Mask = 0x3F
			}
			name := fmt.Sprintf("%d bit, %d channels", depth, channels)
			path := filepath.Join(dir, "ours.wav")
			spec := wav.Spec{
				BitDepth: depth, Dither: wav.DitherNone,
				Loops:     []samples.Loop{{Start: 100, End: 200, Plays: 4}},
				Cues:      []samples.Cue{{Frame: 40, Label: "catch"}, {Frame: 100, Label: "odd one"}},
				Tags:      map[string]string{"INAM": "sled"},
				Broadcast: &wav.Broadcast{Description: "from the workshop"},
				Loudness:  &samples.Loudness{IntegratedLUFS: -23},
			}
			if err := WriteSound(path, s, spec, true); err != nil {
				t.Fatal(err)
			}
			head, raw, _ := bytes.Cut(probe(t, nil, "read", path), []byte("\n\n"))
			sameBytes(t, "libsndfile, "+name, raw, s)
			for _, want := range []string{
				fmt.Sprintf("rate 48000 channels %d frames 1001", channels),
				"loop 100 200 4", "cue 40 catch", "cue 100 odd one", "title sled", "bext 2 from the workshop",
			} {
				if !strings.Contains(string(head)+"\n", want+"\n") {
					t.Errorf("libsndfile, %s: no %q in\n%s", name, want, head)
				}
			}
			// It marks what it finds odd by asterisks; an odd data size is
			// legal in RIFF, with the pad byte that stands here.
			info := strings.ReplaceAll(string(tool(t, nil, "sndfile-info", path)), "*** 'data' chunk should be an even number", "")
			if !strings.Contains(info, "Start :   100  End :   199") || !strings.Contains(info, "labl : 2 : odd one") || strings.Contains(info, "***") {
				t.Errorf("sndfile-info, %s:\n%s", name, info)
			}
			sameBytes(t, "ffmpeg, "+name, tool(t, nil, "ffmpeg", "-v", "error", "-i", path, "-f", "f64le", "-"), s)
		}
	}
}

// An unfinished file, as an interruption leaves it, is readable for others.
func TestOutsideReadsInterrupted(t *testing.T) {
	path := filepath.Join(t.TempDir(), "part.wav")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	s := grid(2, 300_000, 16)
	w, err := wav.NewWriter(f, wav.Spec{RateHz: 48000, Channels: 2, BitDepth: 16, Dither: wav.DitherNone})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write(s.Chans); err != nil { // and no Close
		t.Fatal(err)
	}
	_, raw, _ := bytes.Cut(probe(t, nil, "read", path), []byte("\n\n"))
	frames := len(raw) / 16
	if frames < 200_000 {
		t.Fatalf("%d frames", frames)
	}
	sameBytes(t, "interrupted", raw, s.Slice(0, frames))
}

func TestOutsideWeReadSndfile(t *testing.T) {
	dir := t.TempDir()
	// Major formats and subtypes of sndfile.h.
	majors := map[string]int{"wav": 0x010000, "wavex": 0x130000, "rf64": 0x220000, "flac": 0x170000}
	subs := map[string]struct{ code, depth int }{
		"u8": {5, 8}, "16": {2, 16}, "24": {3, 24}, "32": {4, 32}, "float": {6, 24}, "double": {7, 32},
	}
	for major, code := range majors {
		for sub, f := range subs {
			if major == "flac" && sub != "16" && sub != "24" {
				continue
			}
			for _, channels := range []int{1, 2, 6} {
				name := fmt.Sprintf("%s %s, %d channels", major, sub, channels)
				path := filepath.Join(dir, "theirs."+major)
				s := grid(channels, 1001, f.depth)
				probe(t, interleaved(s), "write", path, fmt.Sprintf("%x", code|f.code), fmt.Sprint(channels), "48000")
				got, info, err := Load(path)
				if err != nil {
					t.Errorf("%s: %v", name, err)
					continue
				}
				sameBytes(t, name, interleaved(got), s)
				if major == "wav" && (len(info.Loops) != 1 || info.Loops[0].Start != 100 || info.Loops[0].End != 200 ||
					len(info.Cues) != 2 || info.Cues[0].Frame != 40 || info.Cues[1].Frame != 100 || info.Tags["INAM"] != "sled") {
					t.Errorf("%s: %+v", name, info)
				}
				r, err := Open(path)
				if err != nil {
					t.Fatal(err)
				}
				if w := Warnings(r); len(w) != 0 {
					t.Errorf("%s: %v", name, w)
				}
				_ = r.Close()
			}
		}
	}
}

func TestOutsideWeReadFFmpeg(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		codec, ext string
		depth      int
		more       []string
		unfinished bool
	}{
		{codec: "pcm_u8", ext: "wav", depth: 8}, {codec: "pcm_s16le", ext: "wav", depth: 16},
		{codec: "pcm_s24le", ext: "wav", depth: 24}, {codec: "pcm_s32le", ext: "wav", depth: 32},
		{codec: "pcm_f32le", ext: "wav", depth: 24}, {codec: "pcm_f64le", ext: "wav", depth: 32},
		{codec: "pcm_s16le", ext: "wav", depth: 16, more: []string{"-rf64", "always"}},
		{codec: "pcm_s16le", ext: "wav", depth: 16, more: []string{"-write_bext", "1", "-metadata", "description=x"}},
		{codec: "pcm_s24le", ext: "wav", depth: 24, unfinished: true},
		{codec: "flac", ext: "flac", depth: 16, more: []string{"-sample_fmt", "s16"}},
		{codec: "flac", ext: "flac", depth: 24, more: []string{"-sample_fmt", "s32"}},
	} {
		for _, channels := range []int{1, 2, 6} {
			name := fmt.Sprintf("ffmpeg %s %v, %d channels", c.codec, c.more, channels)
			s := grid(channels, 1001, c.depth)
			path := filepath.Join(dir, "theirs."+c.ext)
			args := []string{"-v", "error", "-y", "-f", "f64le", "-ar", "48000", "-ac", fmt.Sprint(channels), "-i", "-", "-c:a", c.codec}
			args = append(args, c.more...)
			if c.unfinished { // into a pipe: no size is ever written
				out := tool(t, interleaved(s), "ffmpeg", append(args, "-f", "wav", "-")...)
				if err := os.WriteFile(path, out, 0o600); err != nil {
					t.Fatal(err)
				}
			} else {
				tool(t, interleaved(s), "ffmpeg", append(args, path)...)
			}
			got, _, err := Load(path)
			if err != nil {
				t.Errorf("%s: %v", name, err)
				continue
			}
			sameBytes(t, name, interleaved(got), s)
		}
	}
}

// Lossy files: the same samples as FFmpeg's decoders, within rounding
// (go-mp3 gives 16 bit). FFmpeg may drop a last block; ours must not.
func TestOutsideLossyAgree(t *testing.T) {
	for name, limit := range map[string]float64{
		"tone.ogg": 1e-5, "six.ogg": 1e-5, "tone.mp3": 1e-4, "mono.mp3": 1e-4, "half.mp3": 1e-4, "bare.mp3": 1e-4,
	} {
		path := filepath.Join("testdata", name)
		s, _, err := Load(path)
		if err != nil {
			t.Fatal(err)
		}
		raw := tool(t, nil, "ffmpeg", "-v", "error", "-i", path, "-f", "f64le", "-")
		frames := len(raw) / 8 / s.Channels()
		if frames > s.Frames() || frames < s.Frames()-256 {
			t.Errorf("%s: %d frames, ffmpeg has %d", name, s.Frames(), frames)
		}
		worst := 0.0
		for i := range min(frames, s.Frames()) {
			for c := range s.Chans {
				v := math.Float64frombits(binary.LittleEndian.Uint64(raw[8*(i*s.Channels()+c):]))
				worst = max(worst, math.Abs(v-s.Chans[c][i]))
			}
		}
		if worst > limit {
			t.Errorf("%s: differs by %g", name, worst)
		}
	}
}
