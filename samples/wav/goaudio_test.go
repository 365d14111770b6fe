package wav

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/go-audio/audio"
	gowav "github.com/go-audio/wav"

	"tachbench/samples"
)

// What we write, github.com/go-audio/wav reads to the same integers.
func TestGoAudioReadsOurs(t *testing.T) {
	for _, depth := range []int{16, 24} {
		for _, channels := range []int{1, 2, 6} {
			s := integers(44100, channels, 1000, depth) // even bytes: it makes a ghost of an odd pad
			spec := SpecOf(s, depth)
			spec.Dither = DitherNone
			spec.Loops = []samples.Loop{{Start: 100, End: 200}}
			spec.Cues = []samples.Cue{{Frame: 77, Label: "x"}}
			spec.Tags = map[string]string{"INAM": "title", "IART": "artist"}
			file := encode(t, s, spec)
			d := gowav.NewDecoder(bytes.NewReader(file))
			buf, err := d.FullPCMBuffer()
			if err != nil {
				t.Fatal(err)
			}
			if len(buf.Data) != channels*1000 || int(d.SampleRate) != 44100 || int(d.NumChans) != channels || int(d.BitDepth) != depth {
				t.Fatalf("%d bit, %d channels: %d samples, %+v", depth, channels, len(buf.Data), d)
			}
			full := float64(int64(1) << (depth - 1))
			for i, v := range buf.Data {
				if want := int(s.Chans[i%channels][i/channels] * full); v != want {
					t.Fatalf("%d bit, %d channels, sample %d: %d, want %d", depth, channels, i, v, want)
				}
			}
			d = gowav.NewDecoder(bytes.NewReader(file))
			d.ReadMetadata()
			if d.Err() != nil || d.Metadata == nil {
				t.Fatalf("metadata: %v", d.Err())
			}
			m := d.Metadata
			if m.Title != "title" || m.Artist != "artist" || len(m.CuePoints) != 1 || m.CuePoints[0].SampleOffset != 77 {
				t.Errorf("metadata %+v", m)
			}
			if m.SamplerInfo == nil || len(m.SamplerInfo.Loops) != 1 || m.SamplerInfo.Loops[0].Start != 100 || m.SamplerInfo.Loops[0].End != 199 {
				t.Errorf("sampler %+v", m.SamplerInfo)
			}
		}
	}
}

// What go-audio/wav writes, we read to the same integers.
func TestWeReadGoAudio(t *testing.T) {
	for _, depth := range []int{8, 16, 24, 32} {
		for _, channels := range []int{1, 2, 6} {
			s := integers(48000, channels, 501, depth)
			full := float64(int64(1) << (depth - 1))
			ib := &audio.IntBuffer{Format: &audio.Format{NumChannels: channels, SampleRate: 48000}, SourceBitDepth: depth}
			for i := range channels * 501 {
				v := int(s.Chans[i%channels][i/channels] * full)
				if depth == 8 {
					v += 128
				}
				ib.Data = append(ib.Data, v)
			}
			var m memFile
			e := gowav.NewEncoder(&m, 48000, depth, channels, 1)
			if err := e.Write(ib); err != nil {
				t.Fatal(err)
			}
			if err := e.Close(); err != nil {
				t.Fatal(err)
			}
			sameSound(t, decode(t, m.b), s)
		}
	}
}

func moduleFixtures(t *testing.T, module string) []string {
	t.Helper()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", module).Output()
	dir := strings.TrimSpace(string(out))
	if err != nil || dir == "" {
		t.Logf("skipped: %s is not in the module cache", module)
		return nil
	}
	var found []string
	_ = filepath.WalkDir(dir, func(p string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() && strings.EqualFold(filepath.Ext(p), ".wav") {
			found = append(found, p)
		}
		return nil
	})
	return found
}

// Every WAVE file of the libraries in the module cache: ours and go-audio/wav
// must give the same integers, save for what is known of the latter.
func TestLibraryFixtures(t *testing.T) {
	var files []string
	for _, m := range []string{"github.com/go-audio/wav", "github.com/gopxl/beep/v2"} {
		files = append(files, moduleFixtures(t, m)...)
	}
	if len(files) == 0 {
		t.Skip("no library fixtures in the module cache")
	}
	for _, path := range files {
		name := filepath.Base(path)
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		r, err := Open(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		s, err := readAll(t, r, 1000)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		t.Logf("%s: %d Hz, %d channels, %d bit, float %v, %d frames, %d loops, %d cues, tags %v, %v",
			name, s.RateHz, s.Channels(), r.Info().BitDepth, r.Info().Float, s.Frames(), len(r.Info().Loops), len(r.Info().Cues), r.Info().Tags, r.Warnings())
		if r.Info().Float {
			continue // it returns the raw bits of floats
		}
		d := gowav.NewDecoder(bytes.NewReader(b))
		buf, err := d.FullPCMBuffer()
		if err != nil {
			t.Logf("%s: go-audio says %v", name, err)
			continue
		}
		n := s.Channels() * s.Frames()
		if extra := len(buf.Data) - n; extra != 0 && !(extra == 1 && r.Info().BitDepth == 24 && n%2 == 1) {
			t.Errorf("%s: %d samples, go-audio has %d", name, n, len(buf.Data))
		}
		full := float64(int64(1) << (8*r.format.container - 1))
		for i := range min(n, len(buf.Data)) {
			v := buf.Data[i]
			if r.Info().BitDepth == 8 {
				v -= 128
			}
			if got := s.Chans[i%s.Channels()][i/s.Channels()] * full; got != float64(v) {
				t.Errorf("%s: sample %d is %v, go-audio has %d", name, i, got, v)
				break
			}
		}
	}
}
