package wav

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"testing"

	"tachbench/samples"
)

// memFile is a file in memory, written through Seek alone.
type memFile struct {
	b   []byte
	pos int
}

func (m *memFile) Write(p []byte) (int, error) {
	if need := m.pos + len(p); need > len(m.b) {
		m.b = append(m.b, make([]byte, need-len(m.b))...)
	}
	copy(m.b[m.pos:], p)
	m.pos += len(p)
	return len(p), nil
}

func (m *memFile) Seek(off int64, whence int) (int64, error) {
	switch whence {
	case io.SeekStart:
		m.pos = int(off)
	case io.SeekCurrent:
		m.pos += int(off)
	case io.SeekEnd:
		m.pos = len(m.b) + int(off)
	}
	return int64(m.pos), nil
}

// piece is one chunk of a hand-made file.
type piece struct {
	id    string
	body  []byte
	size  int64 // claimed size; -1 = len(body)
	noPad bool
}

func ck(id string, body []byte) piece { return piece{id: id, body: body, size: -1} }

// form assembles a RIFF file by the rules, written apart from the package's
// own writer so that the two can disagree.
func form(id string, pieces ...piece) []byte {
	b := []byte(id + "\x00\x00\x00\x00WAVE")
	for _, p := range pieces {
		size := uint32(len(p.body))
		if p.size >= 0 {
			size = uint32(p.size)
		}
		b = append(b, p.id...)
		b = binary.LittleEndian.AppendUint32(b, size)
		b = append(b, p.body...)
		if len(p.body)%2 == 1 && !p.noPad {
			b = append(b, 0)
		}
	}
	binary.LittleEndian.PutUint32(b[4:], uint32(len(b)-8))
	return b
}

func riff(pieces ...piece) []byte { return form("RIFF", pieces...) }

// fmtPlain is a 16-byte fmt payload.
func fmtPlain(tag, channels, rate, bits int) piece {
	var b []byte
	l := binary.LittleEndian
	align := channels * ((bits + 7) / 8)
	b = l.AppendUint16(b, uint16(tag))
	b = l.AppendUint16(b, uint16(channels))
	b = l.AppendUint32(b, uint32(rate))
	b = l.AppendUint32(b, uint32(rate*align))
	b = l.AppendUint16(b, uint16(align))
	b = l.AppendUint16(b, uint16(bits))
	return ck("fmt ", b)
}

func fmtExt(sub, channels, rate, bits, valid int, mask uint32) piece {
	p := fmtPlain(0xFFFE, channels, rate, bits)
	l := binary.LittleEndian
	p.body = l.AppendUint16(p.body, 22)
	p.body = l.AppendUint16(p.body, uint16(valid))
	p.body = l.AppendUint32(p.body, mask)
	p.body = l.AppendUint16(p.body, uint16(sub))
	p.body = append(p.body, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71)
	return p
}

func open(t testing.TB, b []byte) *Reader {
	t.Helper()
	r, err := Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	return r
}

// readAll reads r to its end in blocks of n frames. It checks that nothing
// past the returned count is touched.
func readAll(t testing.TB, r samples.Reader, n int) (*samples.Sound, error) {
	t.Helper()
	const mark = 12345.5
	i := r.Info()
	s := &samples.Sound{RateHz: i.RateHz, Mask: i.Mask, Chans: make([][]float64, i.Channels)}
	dst := make([][]float64, i.Channels)
	for c := range dst {
		dst[c] = make([]float64, n)
	}
	for {
		for c := range dst {
			for k := range dst[c] {
				dst[c][k] = mark
			}
		}
		got, err := r.Read(dst)
		for c := range dst {
			for _, v := range dst[c][got:] {
				if v != mark {
					t.Fatalf("Read touched frames past its count %d", got)
				}
			}
			s.Chans[c] = append(s.Chans[c], dst[c][:got]...)
		}
		if err == nil && got == 0 {
			t.Fatal("Read returned 0, nil")
		}
		if err != nil {
			if got != 0 {
				t.Fatalf("Read returned %d frames and %v", got, err)
			}
			if errors.Is(err, io.EOF) {
				err = nil
			}
			return s, err
		}
	}
}

func decode(t testing.TB, b []byte) *samples.Sound {
	t.Helper()
	s, err := readAll(t, open(t, b), 500)
	if err != nil {
		t.Fatalf("Read: %v", err)
	}
	return s
}

func encode(t testing.TB, s *samples.Sound, spec Spec) []byte {
	t.Helper()
	var m memFile
	if err := Encode(&m, s, spec); err != nil {
		t.Fatalf("Encode: %v", err)
	}
	return m.b
}

// integers makes a sound whose samples are exact at the given depth, with
// both extremes in it.
func integers(rate, channels, frames, depth int) *samples.Sound {
	s := samples.NewSound(rate, channels, frames)
	rng := rand.New(rand.NewPCG(7, uint64(depth)))
	full := float64(int64(1) << (depth - 1))
	for c := range s.Chans {
		for i := range s.Chans[c] {
			s.Chans[c][i] = float64(rng.Int64N(int64(2*full))-int64(full)) / full
		}
		if frames > 1 {
			s.Chans[c][0], s.Chans[c][1] = -1, (full-1)/full
		}
	}
	return s
}

func sameSound(t testing.TB, got, want *samples.Sound) {
	t.Helper()
	if got.RateHz != want.RateHz || got.Channels() != want.Channels() || got.Frames() != want.Frames() {
		t.Fatalf("got %d Hz, %d channels, %d frames; want %d, %d, %d", got.RateHz, got.Channels(), got.Frames(), want.RateHz, want.Channels(), want.Frames())
	}
	for c := range want.Chans {
		for i, v := range want.Chans[c] {
			if g := got.Chans[c][i]; g != v && !(math.IsNaN(g) && math.IsNaN(v)) {
				t.Fatalf("channel %d frame %d: got %v, want %v", c, i, g, v)
			}
		}
	}
}
