package file

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"runtime"
	"strings"
	"testing"
	"time"

	"tachbench/samples"
)

// cost runs f and fails if it takes more than a modest amount of memory or
// more than two seconds.
func cost(t *testing.T, name string, limit uint64, f func()) {
	t.Helper()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	start := time.Now()
	f()
	runtime.ReadMemStats(&after)
	if n := after.TotalAlloc - before.TotalAlloc; n > limit {
		t.Errorf("%s: %d bytes allocated", name, n)
	}
	if d := time.Since(start); d > 2*time.Second {
		t.Errorf("%s: took %v", name, d)
	}
}

// oggFile wraps packets into pages of one packet each.
func oggFile(packets ...[]byte) []byte {
	var out []byte
	for i, p := range packets {
		var flags byte
		if i == 0 {
			flags = oggFirst
		}
		for first := true; first || p != nil; first = false {
			n := min(len(p), 255*255)
			laces := n / 255
			whole := n == len(p)
			page := []byte("OggS\x00")
			page = append(page, flags)
			page = binary.LittleEndian.AppendUint64(page, 0)
			page = binary.LittleEndian.AppendUint32(page, 1)
			page = binary.LittleEndian.AppendUint32(page, uint32(len(out))) // not checked before the headers are read
			page = append(page, 0, 0, 0, 0)
			tail := []byte(nil)
			for range laces {
				tail = append(tail, 255)
			}
			if whole {
				tail = append(tail, byte(n%255))
			}
			page = append(page, byte(len(tail)))
			page = append(append(page, tail...), p[:n]...)
			binary.LittleEndian.PutUint32(page[18:], uint32(i))
			binary.LittleEndian.PutUint32(page[22:], 0)
			binary.LittleEndian.PutUint32(page[22:], oggCRC(page))
			out = append(out, page...)
			if p = p[n:]; whole {
				break
			}
			flags = oggContinued
		}
	}
	return out
}

// bitWriter is the writing twin of vorbisBits.
type bitWriter struct {
	b []byte
	n int
}

func (w *bitWriter) put(v uint32, n int) *bitWriter {
	for i := range n {
		if w.n%8 == 0 {
			w.b = append(w.b, 0)
		}
		w.b[w.n>>3] |= byte(v>>i&1) << (w.n & 7)
		w.n++
	}
	return w
}

func identification(channels byte, blocks byte) []byte {
	b := append([]byte("\x01vorbis\x00\x00\x00\x00"), channels)
	b = binary.LittleEndian.AppendUint32(b, 48000)
	b = append(b, make([]byte, 12)...)
	return append(b, blocks, 1)
}

// book begins a setup header with one codebook claim.
func book(entries, dim uint32) *bitWriter {
	w := &bitWriter{b: []byte("\x05vorbis"), n: 56}
	return w.put(0, 8).put(0x564342, 24).put(dim, 16).put(entries, 24)
}

// Headers that lie to the Vorbis decoder. Unguarded, these ask for gigabytes
// or never come back.
func TestVorbisHeaderLies(t *testing.T) {
	comment := []byte("\x03vorbis\x00\x00\x00\x00\x00\x00\x00\x00\x01")
	manyComments := append([]byte("\x03vorbis\x00\x00\x00\x00"), 0xFF, 0xFF, 0xFF, 0xFF, 1)
	id := identification(2, 0xB8)
	for name, packets := range map[string][][]byte{
		"no entries":         {id, comment, book(0, 1).put(0, 200).b},
		"2^24 entries":       {id, comment, book(1<<24-1, 1).put(1, 1).put(20, 5).put(0, 200).b},
		"ordered, no bits":   {id, comment, book(100, 1).put(1, 1).put(0, 5).b},
		"no dimensions":      {id, comment, book(2, 0).put(0, 2).put(0, 10).put(0, 100).b},
		"values of 4 GB":     {id, comment, book(30000, 65535).put(0, 200).b},
		"no used entry":      {id, comment, book(8, 1).put(0, 1).put(1, 1).put(0, 8).put(0, 100).b},
		"2^32 comments":      {id, manyComments, book(0, 1).b},
		"255 channels":       {identification(255, 0xB8), comment, book(2, 1).b},
		"blocks of 2^15":     {identification(2, 0xFF), comment, book(2, 1).b},
		"blocks of 1":        {identification(2, 0x00), comment, book(2, 1).b},
		"short first header": {[]byte("\x01vorbis\x00"), comment},
		"one packet":         {id},
	} {
		b := oggFile(packets...)
		cost(t, name, 1<<20, func() {
			if _, _, err := readBytes(t, b, 100); err == nil || err == io.EOF || strings.Contains(err.Error(), "decoder failed") {
				t.Errorf("%s: %v", name, err)
			} else if name == "no dimensions" && !strings.Contains(err.Error(), "of 0 dimensions") {
				t.Errorf("%s: stopped by something else: %v", name, err)
			}
		})
	}
}

// An Ogg file of empty pages and packets: no recursion, no quadratic time.
func TestOggOfNothing(t *testing.T) {
	good := fixture(t, "tone.ogg")
	var head []byte
	pos := int64(0)
	for range 2 { // the header pages
		p, err := readPage(bytes.NewReader(good), pos, int64(len(good)), make([]byte, oggMaxPage))
		if err != nil {
			t.Fatal(err)
		}
		pos += p.size()
	}
	head = bytes.Clone(good[:pos])
	serial := good[14:18]
	b := head
	for i := range 20_000 {
		page := append([]byte("OggS\x00\x00"), make([]byte, 8)...)
		page = append(page, serial...)
		page = binary.LittleEndian.AppendUint32(page, uint32(2+i))
		page = append(page, 0, 0, 0, 0, byte(i%255))
		page = append(page, make([]byte, i%255)...) // so many empty packets
		binary.LittleEndian.PutUint32(page[22:], oggCRC(page))
		b = append(b, page...)
	}
	cost(t, "empty pages", 64<<20, func() {
		s, _, err := readBytes(t, b, 100)
		if err == nil || s != nil && s.Frames() > 1<<20 {
			t.Errorf("%v", err)
		}
	})
}

func TestFLACHeaderLies(t *testing.T) {
	good := fixture(t, "tone.flac")
	change := func(f func(b []byte) []byte) []byte { return f(bytes.Clone(good)) }
	for name, b := range map[string][]byte{
		"2^36 frames":        change(func(b []byte) []byte { b[21] |= 0x0F; b[22], b[23] = 0xFF, 0xFF; return b[:60] }),
		"block of 16 MiB":    change(func(b []byte) []byte { b[43], b[44] = 0xFF, 0xFF; return b }),
		"first block a tag":  change(func(b []byte) []byte { b[4] = 4; return b }),
		"rate 0":             change(func(b []byte) []byte { b[18], b[19], b[20] = 0, 0, b[20]&0x0F; return b }),
		"nothing but magic":  []byte("fLaC"),
		"header alone":       good[:42],
		"2^32 comments":      change(func(b []byte) []byte { copy(b[46:], "\xff\xff\xff\xff"); return b[:400] }),
		"other depth inside": change(func(b []byte) []byte { b[20] ^= 1; return b }),
	} {
		cost(t, name, 4<<20, func() {
			s, _, err := readBytes(t, b, 100)
			var te *samples.TruncatedError
			if s == nil && err == nil || s != nil && !errors.As(err, &te) {
				t.Errorf("%s: %v", name, err)
			}
		})
	}
}

func TestID3Lies(t *testing.T) {
	b := append([]byte("ID3\x03\x00\x00\xff\xff\xff\xff"), fixture(t, "tone.mp3")...)
	cost(t, "id3 of 512 MB", 1<<20, func() {
		if _, _, err := readBytes(t, b, 100); !errors.Is(err, ErrNotSound) {
			t.Errorf("%v", err)
		}
	})
}

// A decoder that panics, and one that comes back with nothing for ever.
func TestLeash(t *testing.T) {
	for name, next := range map[string]func() ([][]float64, error){
		"panics": func() ([][]float64, error) { panic("index out of range") },
		"stalls": func() ([][]float64, error) { return nil, nil },
		"empty":  func() ([][]float64, error) { return [][]float64{{}}, nil },
	} {
		b := &blocks{info: samples.Info{Format: "flac", Channels: 1}, next: next, promised: 7, atMost: -1}
		n, err := b.Read([][]float64{make([]float64, 5)})
		var te *samples.TruncatedError
		if n != 0 || !errors.As(err, &te) || te.Promised != 7 || te.Where == "" {
			t.Errorf("%s: %d, %v", name, n, err)
		}
	}
}

// FuzzOpen: arbitrary bytes never panic, hang or cost memory out of
// proportion, and every error is one line behind the name.
func FuzzOpen(f *testing.F) {
	for _, name := range []string{"tone.flac", "tone.ogg", "six.ogg", "mono.mp3", "half.mp3", "opus.ogg"} {
		f.Add(fixture(f, name))
	}
	f.Add(fixture(f, "bare.mp3")[:1000])
	f.Add(fixture(f, "six.flac")[:3000])
	f.Add(oggFile(identification(2, 0xB8), []byte("\x03vorbis"), book(4, 1).put(0, 80).b))
	f.Add([]byte("RIFF\x00\x00\x00\x00WAVEfmt "))
	f.Fuzz(func(t *testing.T, b []byte) {
		// Repair the checksums of Ogg, or nothing gets past them.
		b = bytes.Clone(b)
		for pos := 0; pos+oggHeaderSize <= len(b) && string(b[pos:pos+4]) == "OggS"; {
			end := pos + oggHeaderSize + int(b[pos+26])
			if end > len(b) {
				break
			}
			for _, l := range b[pos+oggHeaderSize : end] {
				end += int(l)
			}
			if end > len(b) {
				break
			}
			copy(b[pos+22:], "\x00\x00\x00\x00")
			binary.LittleEndian.PutUint32(b[pos+22:], oggCRC(b[pos:end]))
			pos = end
		}
		start := time.Now()
		r, err := OpenReader("x", bytes.NewReader(b), int64(len(b)))
		if err == nil {
			dst := make([][]float64, r.Info().Channels)
			for c := range dst {
				dst[c] = make([]float64, 4096)
			}
			frames := int64(0)
			for err == nil && frames < 1<<22 {
				var n int
				n, err = r.Read(dst)
				frames += int64(n)
				if n == 0 && err == nil {
					t.Fatal("0, nil")
				}
			}
			var te *samples.TruncatedError
			if err != nil && err != io.EOF && (!errors.As(err, &te) || te.Got != frames) {
				t.Fatalf("%d frames, %v", frames, err)
			}
		}
		if err != nil && err != io.EOF && (!strings.HasPrefix(err.Error(), "x: ") || strings.Contains(err.Error(), "\n")) {
			t.Fatalf("error %q", err)
		}
		if d := time.Since(start); d > 5*time.Second {
			t.Fatalf("%d bytes took %v", len(b), d)
		}
	})
}
