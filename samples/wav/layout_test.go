package wav

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"testing"

	"tachbench/samples"
)

// find returns the payload of the first chunk called id.
func find(t *testing.T, b []byte, id string) []byte {
	t.Helper()
	for p := 12; p+8 <= len(b); {
		n := int(binary.LittleEndian.Uint32(b[p+4:]))
		if string(b[p:p+4]) == id {
			return b[p+8 : p+8+n]
		}
		p += 8 + n + n%2
	}
	t.Fatalf("no %q chunk", id)
	return nil
}

func silence(frames int) *samples.Sound { return samples.NewSound(48000, 1, frames) }

func TestBextLayout(t *testing.T) {
	// EBU Tech 3285 v2: payload of 602 bytes without history; hundredths as
	// little-endian i16 from offset 412: -23.00 LUFS is 04 F7, 5.40 LU is
	// 1C 02, -1.00 dBTP is 9C FF; momentary stands before short-term.
	spec := SpecOf(silence(10), 16)
	spec.Loudness = &samples.Loudness{IntegratedLUFS: -23, RangeLU: 5.4, TruePeakDBTP: -1, MomentaryMaxLUFS: -18.5, ShortTermMaxLUFS: math.NaN()}
	spec.Broadcast = &Broadcast{Description: "pull at full load", Originator: "workshop", OriginatorReference: "A7", Date: "2026-02-03", Time: "04:05:06", TimeReference: 1<<32 + 5}
	file := encode(t, silence(10), spec)
	b := find(t, file, "bext")
	if len(b) != 602 {
		t.Errorf("payload of %d bytes, want 602", len(b))
	}
	if got, want := b[412:422], []byte{0x04, 0xF7, 0x1C, 0x02, 0x9C, 0xFF, 0xC6, 0xF8, 0xFF, 0x7F}; !bytes.Equal(got, want) {
		t.Errorf("loudness fields % X, want % X", got, want)
	}
	if string(b[320:338]) != "2026-02-0304:05:06" || b[346] != 2 || b[338] != 5 || b[342] != 1 {
		t.Errorf("date, version or time reference misplaced: % X", b[320:348])
	}
	r := open(t, file)
	l := r.Info().Loudness
	if l == nil || l.IntegratedLUFS != -23 || l.RangeLU != 5.4 || l.TruePeakDBTP != -1 || l.MomentaryMaxLUFS != -18.5 || !math.IsNaN(l.ShortTermMaxLUFS) {
		t.Errorf("read back %+v", l)
	}
	want := *spec.Broadcast
	want.Version = 2
	if got := r.Broadcast(); got == nil || *got != want {
		t.Errorf("read back %+v, want %+v", got, want)
	}
}

func TestBextVersion1HasNoLoudness(t *testing.T) {
	b := make([]byte, 602)
	b[346] = 1
	copy(b[412:], []byte{0x04, 0xF7})
	r := open(t, riff(ck("bext", b), fmtPlain(1, 1, 48000, 16), ck("data", nil)))
	if r.Info().Loudness != nil || r.Broadcast().Version != 1 {
		t.Errorf("got %+v, version %d", r.Info().Loudness, r.Broadcast().Version)
	}
}

func TestLoudnessOutOfRangeIsUnset(t *testing.T) {
	spec := SpecOf(silence(1), 16)
	spec.Loudness = &samples.Loudness{IntegratedLUFS: math.Inf(-1), RangeLU: 100, TruePeakDBTP: -99.99, MomentaryMaxLUFS: 99.99, ShortTermMaxLUFS: 0}
	b := find(t, encode(t, silence(1), spec), "bext")
	for i, want := range []int16{0x7FFF, 0x7FFF, -9999, 9999, 0} {
		if got := int16(binary.LittleEndian.Uint16(b[412+2*i:])); got != want {
			t.Errorf("field %d: %d, want %d", i, got, want)
		}
	}
}

func TestLoopLayout(t *testing.T) {
	// RIFF `smpl`: 60 bytes with one loop; frames 100..199 are start 100,
	// end 199 (inclusive), 100 frames long. Period at 44.1 kHz 22675 ns.
	s := samples.NewSound(44100, 1, 300)
	spec := SpecOf(s, 16)
	spec.Loops = []samples.Loop{{Start: 100, End: 200, Plays: 3}}
	file := encode(t, s, spec)
	b := find(t, file, "smpl")
	u := func(at int) uint32 { return binary.LittleEndian.Uint32(b[at:]) }
	if len(b) != 60 || u(8) != 22675 || u(12) != 60 || u(28) != 1 || u(36+8) != 100 || u(36+12) != 199 || u(36+20) != 3 {
		t.Errorf("smpl payload % X", b)
	}
	if got := open(t, file).Info().Loops; len(got) != 1 || got[0] != spec.Loops[0] || got[0].End-got[0].Start != 100 {
		t.Errorf("read back %+v", got)
	}
}

func TestCueLayout(t *testing.T) {
	s := silence(1000)
	spec := SpecOf(s, 16)
	spec.Cues = []samples.Cue{{Frame: 10, Label: "odd"}, {Frame: 500, Length: 200, Label: "even"}, {Frame: 999}}
	spec.Loops = []samples.Loop{{Start: 0, End: 1}}
	file := encode(t, s, spec)
	b := find(t, file, "cue ")
	if len(b) != 4+24*3 || binary.LittleEndian.Uint32(b[4+24+20:]) != 500 || string(b[4+24+8:4+24+12]) != "data" {
		t.Errorf("cue payload % X", b)
	}
	l := find(t, file, "LIST")
	// labl: 4 bytes of cue id, the text and its NUL; the pad is not counted.
	if string(l[:8]) != "adtllabl" || binary.LittleEndian.Uint32(l[8:]) != 4+3+1 {
		t.Errorf("adtl % X", l[:24])
	}
	got := open(t, file).Info().Cues
	if len(got) != 3 || got[0] != spec.Cues[0] || got[1] != spec.Cues[1] || got[2] != spec.Cues[2] {
		t.Errorf("read back %+v", got)
	}
	if id := binary.LittleEndian.Uint32(find(t, file, "smpl")[36:]); id <= 3 {
		t.Errorf("loop id %d is also a cue's", id)
	}
}

func TestExtensibleLayout(t *testing.T) {
	for _, c := range []struct {
		name     string
		channels int
		mask     uint32
		depth    int
		size     int
		tag      byte
	}{
		{"plain 16", 1, 0, 16, 16, 1},
		{"plain 24", 2, 0, 24, 16, 1},
		{"plain float", 2, 0, 32, 18, 3},
		{"24 with mask", 2, 3, 24, 40, 0xFE},
		{"six channels", 6, 0x3F, 16, 40, 0xFE},
		{"six channel float", 6, 0x3F, 32, 40, 0xFE},
	} {
		s := samples.NewSound(48000, c.channels, 3)
		s.Mask = c.mask
		file := encode(t, s, SpecOf(s, c.depth))
		b := find(t, file, "fmt ")
		if len(b) != c.size || b[0] != c.tag {
			t.Errorf("%s: %d bytes with tag %#x, want %d with %#x", c.name, len(b), b[0], c.size, c.tag)
			continue
		}
		if c.size == 40 {
			// ksmedia.h: KSDATAFORMAT_SUBTYPE_PCM and _IEEE_FLOAT as bytes on disk.
			guid := []byte{1, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71}
			if c.depth == 32 {
				guid[0] = 3
			}
			if !bytes.Equal(b[24:], guid) || binary.LittleEndian.Uint32(b[20:]) != c.mask || b[18] != byte(c.depth) || b[16] != 22 {
				t.Errorf("%s: % X", c.name, b)
			}
		}
		if i := open(t, file).Info(); i.Channels != c.channels || i.Mask != c.mask || i.BitDepth != c.depth || i.Float != (c.depth == 32) || i.Frames != 3 {
			t.Errorf("%s: read back %+v", c.name, i)
		}
	}
}

func TestPlainHeaderIs44Bytes(t *testing.T) {
	if b := encode(t, silence(5), SpecOf(silence(5), 16)); len(b) != 44+10 || string(b[36:40]) != "data" {
		t.Errorf("%d bytes, % X", len(b), b)
	}
}

func TestTags(t *testing.T) {
	spec := SpecOf(silence(3), 16)
	spec.Tags = map[string]string{"INAM": "sled, idle", "ICMT": "größer", "IART": ""}
	got := open(t, encode(t, silence(3), spec)).Info().Tags
	for k, v := range spec.Tags {
		if got[k] != v {
			t.Errorf("%s: %q, want %q", k, got[k], v)
		}
	}
	// Latin-1 from older tools; a missing pad inside the list.
	b := riff(fmtPlain(1, 1, 48000, 16), ck("data", []byte{1, 0}), ck("LIST", []byte("INFOINAM\x03\x00\x00\x00gr\xfcISFT\x02\x00\x00\x00ab")))
	if got := open(t, b).Info().Tags; got["INAM"] != "grü" || got["ISFT"] != "ab" {
		t.Errorf("got %q", got)
	}
}

func TestSpecErrors(t *testing.T) {
	good := SpecOf(silence(1), 16)
	for name, change := range map[string]func(*Spec){
		"no rate":         func(s *Spec) { s.RateHz = 0 },
		"no channels":     func(s *Spec) { s.Channels = 0 },
		"12 bit":          func(s *Spec) { s.BitDepth = 12 },
		"64-bit float":    func(s *Spec) { s.BitDepth, s.Float = 64, true },
		"32-bit integer":  func(s *Spec) { s.BitDepth = 32 },
		"mask too wide":   func(s *Spec) { s.Mask = 3 },
		"tag key":         func(s *Spec) { s.Tags = map[string]string{"NAME ": ""} },
		"loop backwards":  func(s *Spec) { s.Loops = []samples.Loop{{Start: 5, End: 5}} },
		"loop too late":   func(s *Spec) { s.Loops = []samples.Loop{{Start: 5, End: 1<<32 + 1}} },
		"cue before zero": func(s *Spec) { s.Cues = []samples.Cue{{Frame: -1}} },
		"long originator": func(s *Spec) { s.Broadcast = &Broadcast{Originator: string(make([]byte, 33))} },
	} {
		spec := good
		change(&spec)
		if _, err := NewWriter(&memFile{}, spec); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestOpenErrors(t *testing.T) {
	data := ck("data", []byte{1, 0})
	for _, c := range []struct {
		name        string
		b           []byte
		unsupported bool
		offset      int64
	}{
		{"empty", nil, false, 0},
		{"eleven bytes", []byte("RIFF....WAV"), false, 11},
		{"not riff", []byte("something else entirely"), false, 0},
		{"big-endian", form("RIFX", fmtPlain(1, 1, 48000, 16), data), true, 0},
		{"avi", []byte("RIFF\x04\x00\x00\x00AVI "), true, 8},
		{"no fmt", riff(data), false, 22},
		{"no data", riff(fmtPlain(1, 1, 48000, 16)), false, 36},
		{"short fmt", riff(ck("fmt ", make([]byte, 14)), data), false, 20},
		{"zero channels", riff(fmtPlain(1, 0, 48000, 16), data), false, 22},
		{"zero rate", riff(fmtPlain(1, 1, 0, 16), data), false, 24},
		{"zero bits", riff(fmtPlain(1, 1, 48000, 0), data), false, 34},
		{"adpcm", riff(fmtPlain(2, 1, 48000, 4), data), true, 20},
		{"a-law", riff(fmtPlain(6, 1, 8000, 8), data), true, 20},
		{"16-bit float", riff(fmtPlain(3, 1, 48000, 16), data), true, 34},
		{"48-bit", riff(fmtPlain(1, 1, 48000, 48), data), true, 34},
		{"extensible mp3", riff(fmtExt(0x55, 1, 48000, 16, 16, 0), data), true, 20},
		{"short extensible", riff(fmtPlain(0xFFFE, 1, 48000, 16), data), false, 20},
		{"too many channels", riff(fmtPlain(1, 60000, 48000, 8), data), true, 22},
		{"binary rubbish for chunks", append(riff(), 1, 2, 3, 4, 5, 6, 7, 8), false, 12},
	} {
		_, err := Open(bytes.NewReader(c.b), int64(len(c.b)))
		var fe *FormatError
		var ue *UnsupportedError
		switch {
		case errors.As(err, &fe) && !c.unsupported && fe.Offset == c.offset:
		case errors.As(err, &ue) && c.unsupported && ue.Offset == c.offset:
		default:
			t.Errorf("%s: %T %v, want offset %d", c.name, err, err, c.offset)
		}
	}
}
