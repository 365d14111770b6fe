package file

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"testing"

	"tachbench/samples"
	"tachbench/samples/wav"
)

var sourceDir = flag.String("source", "", "folder to write the source of the fixtures to")

const fixtureFrames = 17_641 // 0.4 s and one, odd

// fixtureSource is the sound inside the files of testdata, in steps of 16
// bit: a sine for each frequency over a ramp of 10 ms at both ends.
func fixtureSource(level float64, hz ...float64) *samples.Sound {
	s := samples.NewSound(44100, len(hz), fixtureFrames)
	for c, f := range hz {
		for i := range s.Chans[c] {
			edge := min(1, float64(min(i, fixtureFrames-1-i))/441)
			s.Chans[c][i] = math.Round(32768*edge*level/float64(1+c)*math.Sin(2*math.Pi*f*float64(i)/44100)) / 32768
		}
	}
	return s
}

func fixtureSounds() map[string]*samples.Sound {
	six := fixtureSource(0.5, 300, 400, 500, 60, 700, 800)
	six.Mask = 0x3F
	loud := fixtureSource(0.5, 997, 1499)
	for i, v := range loud.Chans[0] {
		loud.Chans[0][i] = math.Copysign(min(math.Abs(v)*8, 32767.0/32768), v) // a clipped sine overshoots once coded
	}
	return map[string]*samples.Sound{
		"stereo": fixtureSource(0.5, 997, 1499),
		"mono":   fixtureSource(0.5, 997),
		"six":    six,
		"loud":   loud,
	}
}

func TestWriteFixtureSource(t *testing.T) {
	if *sourceDir == "" {
		t.Skip("writes nothing without -source DIR")
	}
	for name, s := range fixtureSounds() {
		spec := wav.SpecOf(s, 16)
		spec.Dither = wav.DitherNone
		if err := WriteSound(filepath.Join(*sourceDir, name+".wav"), s, spec, true); err != nil {
			t.Fatal(err)
		}
	}
}

func fixture(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// readBytes reads a whole file from memory in blocks of n.
func readBytes(t testing.TB, b []byte, n int) (*samples.Sound, samples.Reader, error) {
	t.Helper()
	r, err := OpenReader("x", bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return nil, nil, err
	}
	info := r.Info()
	s := &samples.Sound{RateHz: info.RateHz, Mask: info.Mask, Chans: make([][]float64, info.Channels)}
	dst := make([][]float64, info.Channels)
	for c := range dst {
		dst[c] = make([]float64, n)
	}
	const mark = 1234.5
	for {
		for c := range dst {
			for i := range dst[c] {
				dst[c][i] = mark
			}
		}
		got, err := r.Read(dst)
		for c := range dst {
			for _, v := range dst[c][got:] {
				if v != mark {
					t.Fatalf("touched past the %d frames returned", got)
				}
			}
			s.Chans[c] = append(s.Chans[c], dst[c][:got]...)
		}
		if err == nil && got == 0 {
			t.Fatal("Read returned 0, nil")
		}
		if err != nil {
			if got != 0 {
				t.Fatalf("%d frames and %v", got, err)
			}
			return s, r, err
		}
	}
}
