package file

import (
	"bytes"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"tachbench/samples"
)

// FLAC is lossless: the formula must come back exactly, at the depth and with
// the channels it was made with.
func TestFLACEqualsTheFormula(t *testing.T) {
	for _, c := range []struct {
		name, source string
		depth        int
		mask         uint32
		frames       int
	}{{"tone.flac", "stereo", 16, 0, 5001}, {"tone24.flac", "stereo", 24, 0, 5001}, {"six.flac", "six", 16, 0x3F, 4001}} {
		want := fixtureSounds()[c.source].Slice(0, c.frames)
		s, r, err := readBytes(t, fixture(t, c.name), 777)
		if err != io.EOF {
			t.Fatalf("%s: %v", c.name, err)
		}
		i := r.Info()
		if i.Format != "flac" || i.BitDepth != c.depth || i.Frames != int64(c.frames) || i.RateHz != 44100 || i.Channels != want.Channels() || i.Mask != c.mask {
			t.Errorf("%s: %+v", c.name, i)
		}
		if w := Warnings(r); len(w) != 0 {
			t.Errorf("%s: %v", c.name, w)
		}
		for ch := range want.Chans {
			for k, v := range want.Chans[ch] {
				if s.Chans[ch][k] != v {
					t.Fatalf("%s: channel %d frame %d is %v, want %v", c.name, ch, k, s.Chans[ch][k], v)
				}
			}
		}
	}
	if _, r, _ := readBytes(t, fixture(t, "tone.flac"), 777); r.Info().Tags["TITLE"] != "sled" {
		t.Errorf("tags %v", r.Info().Tags)
	}
}

// fitSine returns amplitude and phase (in frames of delay) of a sine of known
// frequency in x by least squares, and what is left beside it in dB.
func fitSine(x []float64, hz, rate float64) (amp, delay, restDB float64) {
	var sc, cc, p float64
	w := 2 * math.Pi * hz / rate
	for i, v := range x {
		sc += v * math.Sin(w*float64(i))
		cc += v * math.Cos(w*float64(i))
		p += v * v
	}
	n := float64(len(x))
	sc, cc = 2*sc/n, 2*cc/n
	amp = math.Hypot(sc, cc)
	return amp, math.Atan2(-cc, sc) / w, samples.PowerDB(max(p/n-amp*amp/2, 0) / (amp * amp / 2))
}

// Lossy codecs: the exact length, every channel in its place with its level
// within 0.3 dB and its start within 0.05 frames, and what is left beside the
// sine 20 dB down at least. LAME turns constant low rates down to 0.95 (seen
// the same way with FFmpeg's decoder), which the table allows for. The tolerances are common practice for these bit
// rates, no source; a wrong channel order, delay or gain fails them by far.
func TestLossyCodecs(t *testing.T) {
	stereo, six := []float64{997, 1499}, []float64{300, 400, 500, 60, 700, 800}
	for _, c := range []struct {
		name, format string
		rate         int
		hz           []float64
		frames       int
		level        float64
	}{
		{"tone.ogg", "ogg", 44100, stereo, fixtureFrames, 0.5},
		{"six.ogg", "ogg", 44100, six, fixtureFrames, 0.5},
		{"tone.mp3", "mp3", 44100, stereo, fixtureFrames, 0.475},
		{"mono.mp3", "mp3", 44100, stereo[:1], fixtureFrames, 0.5},
		{"half.mp3", "mp3", 24000, stereo[:1], 9601, 0.475}, // ceil(17641 · 24000/44100)
	} {
		s, r, err := readBytes(t, fixture(t, c.name), 1000)
		if err != io.EOF {
			t.Fatalf("%s: %v", c.name, err)
		}
		i := r.Info()
		if i.Format != c.format || i.RateHz != c.rate || i.Channels != len(c.hz) || i.BitDepth != 0 {
			t.Errorf("%s: %+v", c.name, i)
		}
		if s.Frames() != c.frames || i.Frames != int64(c.frames) {
			t.Errorf("%s: %d frames, Info says %d, want %d", c.name, s.Frames(), i.Frames, c.frames)
		}
		for ch, hz := range c.hz {
			// A window of whole periods well inside the fades.
			from := c.rate / 10
			n := int(math.Round(math.Round(0.2*hz) * float64(c.rate) / hz))
			amp, delay, rest := fitSine(s.Chans[ch][from:from+n], hz, float64(c.rate))
			delay = math.Remainder(delay+float64(from), float64(c.rate)/hz)
			want := c.level / float64(1+ch)
			loose := 1.0
			if hz == 60 {
				loose = 20 // the low-frequency channel is coded coarsely; FFmpeg decodes it to the same samples
			}
			db := samples.AmplitudeDB(amp / want)
			if math.Abs(db) > 0.3*loose || math.Abs(delay) > 0.05*loose || rest > -20 {
				t.Errorf("%s channel %d: level %+.3f dB, delay %+.4f frames, rest %.1f dB", c.name, ch, db, delay, rest)
			}
		}
	}
}

// Without an encoder's tag the delay stays in: 17 frames of 1152 and the
// sound begins 1105 frames late (576 of LAME and 529 of the decoder).
func TestBareMP3KeepsItsDelay(t *testing.T) {
	s, _, err := readBytes(t, fixture(t, "bare.mp3"), 1000)
	if err != io.EOF || s.Frames() != 17*1152 {
		t.Fatalf("%d frames, %v", s.Frames(), err)
	}
	const n, from = 8403, 5000 // 190 periods of 997 Hz at 44.1 kHz
	amp, delay, _ := fitSine(s.Chans[0][from:from+n], 997, 44100)
	delay = math.Remainder(delay+from-1105, 44100/997.0)
	if math.Abs(delay) > 0.05 || math.Abs(samples.AmplitudeDB(amp/0.475)) > 0.3 {
		t.Errorf("delay off by %.3f frames, amplitude %.4f", delay, amp)
	}
}

// A clipped sine overshoots full scale once coded. That must be seen.
func TestVorbisKeepsOvers(t *testing.T) {
	s, _, err := readBytes(t, fixture(t, "loud.ogg"), 1000)
	if err != io.EOF {
		t.Fatal(err)
	}
	peak := 0.0
	for _, v := range s.Chans[0] {
		peak = max(peak, math.Abs(v))
	}
	if peak < 1.01 {
		t.Errorf("peak %.4f", peak)
	}
}

func TestBlockSizesAgree(t *testing.T) {
	for _, name := range []string{"tone.flac", "six.flac", "tone.ogg", "six.ogg", "tone.mp3", "mono.mp3"} {
		b := fixture(t, name)
		want, _, _ := readBytes(t, b, 50_000)
		for _, n := range []int{1, 100, 4097} {
			got, _, _ := readBytes(t, b, n)
			for c := range want.Chans {
				if len(got.Chans[c]) != len(want.Chans[c]) {
					t.Fatalf("%s in blocks of %d: %d frames", name, n, got.Frames())
				}
				for i, v := range want.Chans[c] {
					if got.Chans[c][i] != v {
						t.Fatalf("%s in blocks of %d: frame %d differs", name, n, i)
					}
				}
			}
		}
	}
}

// Cut anywhere, a file gives an error or good frames and a TruncatedError;
// the good frames are those of the whole file.
func TestCutFiles(t *testing.T) {
	for _, name := range []string{"tone.flac", "tone.ogg", "tone.mp3", "bare.mp3"} {
		b := fixture(t, name)
		whole, _, _ := readBytes(t, b, 4096)
		partial := 0
		for n := 1; n < len(b); n += 61 {
			s, _, err := readBytes(t, b[:n], 4096)
			if s == nil {
				if !strings.HasPrefix(err.Error(), "x: ") || strings.Contains(err.Error(), "\n") {
					t.Errorf("%s cut at %d: %v", name, n, err)
				}
				continue
			}
			var te *samples.TruncatedError
			if !errors.As(err, &te) {
				if name != "bare.mp3" || s.Frames()%1152 != 0 {
					t.Errorf("%s cut at %d of %d: %d frames and %v", name, n, len(b), s.Frames(), err)
				}
				continue // between two frames nothing shows that more should follow
			}
			if te.Got != int64(s.Frames()) || te.Promised != 0 && te.Promised <= te.Got || s.Frames() > whole.Frames() {
				t.Errorf("%s cut at %d: %d frames, %+v", name, n, s.Frames(), te)
			}
			if s.Frames() > 0 {
				partial++
			}
			for i, v := range s.Chans[0] {
				if v != whole.Chans[0][i] {
					t.Fatalf("%s cut at %d: frame %d differs", name, n, i)
				}
			}
		}
		if partial < 10 {
			t.Errorf("%s: only %d cuts gave sound", name, partial)
		}
	}
}

// One bit flipped in the middle: FLAC and Ogg notice by their checksums and
// give what came before.
func TestFlippedBits(t *testing.T) {
	for _, name := range []string{"tone.flac", "tone.ogg"} {
		b := bytes.Clone(fixture(t, name))
		b[len(b)*9/10] ^= 4
		whole, _, _ := readBytes(t, fixture(t, name), 4096)
		s, _, err := readBytes(t, b, 4096)
		var te *samples.TruncatedError
		if !errors.As(err, &te) || s.Frames() == 0 && name == "tone.flac" || s.Frames() >= whole.Frames() {
			t.Errorf("%s: %d frames, %v", name, s.Frames(), err)
		}
	}
	// A wrong MD5 in the FLAC header is told when everything was read.
	b := bytes.Clone(fixture(t, "tone.flac"))
	b[30] ^= 1
	if _, r, err := readBytes(t, b, 4096); err != io.EOF || len(Warnings(r)) != 1 {
		t.Errorf("MD5: %v, %v", err, Warnings(r))
	}
	// A header that promises more than there is.
	b = bytes.Clone(fixture(t, "tone.flac"))
	b[25]++ // lowest byte of the frame count
	s, _, err := readBytes(t, b, 4096)
	var te *samples.TruncatedError
	if !errors.As(err, &te) || te.Promised != 5002 || s.Frames() != 5001 {
		t.Errorf("one frame too many: %v", err)
	}
}

func TestMP3Surroundings(t *testing.T) {
	plain := fixture(t, "tone.mp3")
	want, _, _ := readBytes(t, plain, 4096)
	tag := append([]byte("ID3\x03\x00\x00\x00\x00\x01\x00"), make([]byte, 128)...)
	id1 := append([]byte("TAG"), make([]byte, 125)...)
	for name, b := range map[string][]byte{
		"id3v2":       append(bytes.Clone(tag), plain...),
		"two tags":    append(append(bytes.Clone(tag), tag...), plain...),
		"id3v1":       append(bytes.Clone(plain), id1...),
		"zeros first": append(make([]byte, 100), plain...),
	} {
		s, r, err := readBytes(t, b, 4096)
		if err != io.EOF || s.Frames() != want.Frames() || len(Warnings(r)) != 0 {
			t.Errorf("%s: %v, %v", name, err, s)
		}
	}
	// Rubbish behind or between the frames is told and stepped over.
	for name, b := range map[string][]byte{
		"behind":  append(bytes.Clone(plain), "some rubbish of no use"...),
		"between": append(append(bytes.Clone(plain[:45+417+209]), "rubbish"...), plain[45+417+209:]...),
	} {
		if s, r, err := readBytes(t, b, 4096); s == nil || len(Warnings(r)) == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	// FLAC behind an ID3 tag.
	if s, _, err := readBytes(t, append(bytes.Clone(tag), fixture(t, "tone.flac")...), 4096); err != io.EOF || s.Frames() != 5001 {
		t.Errorf("flac behind id3: %v", err)
	}
}

func TestRefusedByName(t *testing.T) {
	for _, c := range []struct{ name, want string }{
		{"opus.ogg", "Opus"},
		{"padded.mp3", "22050 Hz"},
	} {
		_, _, err := readBytes(t, fixture(t, c.name), 100)
		var ue *UnsupportedError
		if !errors.As(err, &ue) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	for _, text := range []string{"hello, this is text", "\xff\xfeU\x00T\x00F\x001\x006\x00", "FORM\x00\x00\x00\x10AIFF", strings.Repeat("\x00", 5000)} {
		if _, _, err := readBytes(t, []byte(text), 100); !errors.Is(err, ErrNotSound) {
			t.Errorf("%.10q: %v", text, err)
		}
	}
}
