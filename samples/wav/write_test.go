package wav

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"testing"

	"tachbench/samples"
)

func TestRoundTrips(t *testing.T) {
	for _, depth := range []int{16, 24, 32} {
		for _, channels := range []int{1, 2, 6} {
			for _, frames := range []int{0, 1, 3, 1001} {
				for _, rate := range []int{8000, 192000} {
					s := integers(rate, channels, frames, min(depth, 24))
					spec := SpecOf(s, depth)
					spec.Dither = DitherNone
					b := encode(t, s, spec)
					if len(b)%2 != 0 {
						t.Errorf("%d bit, %d channels, %d frames: odd file of %d bytes", depth, channels, frames, len(b))
					}
					r := open(t, b)
					if len(r.Warnings()) != 0 {
						t.Errorf("%d bit, %d channels, %d frames: %v", depth, channels, frames, r.Warnings())
					}
					got, err := readAll(t, r, 400)
					if err != nil {
						t.Fatal(err)
					}
					sameSound(t, got, s)
				}
			}
		}
	}
}

func TestFloatKeepsEverything(t *testing.T) {
	s := &samples.Sound{RateHz: 48000, Chans: [][]float64{{4, -4, math.NaN(), math.Inf(1), 1e-40, 0}}}
	got := decode(t, encode(t, s, SpecOf(s, 32)))
	for i, v := range s.Chans[0] {
		if want := float64(float32(v)); got.Chans[0][i] != want && !math.IsNaN(want) {
			t.Errorf("frame %d: %v, want %v", i, got.Chans[0][i], want)
		}
	}
	if !math.IsNaN(got.Chans[0][2]) {
		t.Error("NaN was lost")
	}
}

func TestIntegersSaturate(t *testing.T) {
	s := &samples.Sound{RateHz: 48000, Chans: [][]float64{{1, 1.5, -1, -7, math.Inf(1), math.Inf(-1), math.NaN(), 0.5 / 32768, 1.5 / 32768}}}
	spec := SpecOf(s, 16)
	spec.Dither = DitherNone
	var m memFile
	w, err := NewWriter(&m, spec)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(w.Write(s.Chans), w.Close()); err != nil {
		t.Fatal(err)
	}
	want := []int16{32767, 32767, -32768, -32768, 32767, -32768, 0, 0, 2}
	for i := range want {
		if got := int16(binary.LittleEndian.Uint16(m.b[44+2*i:])); got != want[i] {
			t.Errorf("%v: %d, want %d", s.Chans[0][i], got, want[i])
		}
	}
	if w.Clipped() != 5 || w.Frames() != 9 {
		t.Errorf("%d clipped of %d", w.Clipped(), w.Frames())
	}
}

// The same input gives the same bytes, however it is handed over.
func TestWriterIsDeterministic(t *testing.T) {
	s := integers(48000, 6, 50001, 24)
	for _, depth := range []int{16, 24, 32} {
		spec := SpecOf(s, depth)
		spec.Seed = 42
		spec.Tags = map[string]string{"INAM": "a", "ICMT": "b", "IART": "c", "ISFT": "d"}
		want := encode(t, s, spec)
		for _, n := range []int{1, 1000, 33333} {
			var m memFile
			w, err := NewWriter(&m, spec)
			if err != nil {
				t.Fatal(err)
			}
			for from := 0; from < s.Frames(); from += n {
				if err := w.Write(s.Slice(from, min(from+n, s.Frames())).Chans); err != nil {
					t.Fatal(err)
				}
			}
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(m.b, want) {
				t.Errorf("%d bit in blocks of %d: other bytes", depth, n)
			}
		}
		spec.Seed = 43
		if depth != 32 && bytes.Equal(encode(t, s, spec), want) {
			t.Errorf("%d bit: the seed does nothing", depth)
		}
	}
}

// snapshots keeps the file as it was after every single write.
type snapshots struct {
	memFile
	check func([]byte)
}

func (s *snapshots) Write(p []byte) (int, error) {
	n, err := s.memFile.Write(p)
	s.check(s.b)
	return n, err
}

// Whenever the writer is interrupted, what is there opens, counts true and
// holds the sound so far, up to one block.
func TestInterruptedAtEveryWrite(t *testing.T) {
	for _, reserve := range []bool{true, false} {
		s := integers(48000, 1, 400_001, 24)
		spec := SpecOf(s, 24)
		spec.Dither = DitherNone
		spec.Loops = []samples.Loop{{Start: 1, End: 400_001}}
		spec.Loudness = &samples.Loudness{}
		if reserve {
			spec.Frames = 0
		}
		writes := 0
		var lastFrames int64
		f := &snapshots{check: func(b []byte) {
			writes++
			r := open(t, b)
			frames := r.Info().Frames
			if behind := (int64(len(b)) - 44 - 36 - 610 - 8) / 3; frames < behind-writeBlockSize/3 || frames < lastFrames {
				t.Fatalf("write %d: %d frames counted", writes, frames)
			}
			lastFrames = frames
			got, err := readAll(t, r, 4096)
			if err != nil {
				t.Fatalf("write %d: %v", writes, err)
			}
			sameSound(t, got, s.Slice(0, int(frames)))
		}}
		w, err := NewWriter(f, spec)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(w.Write(s.Chans), w.Close()); err != nil {
			t.Fatal(err)
		}
		if lastFrames != 400_001 || writes < 10 {
			t.Errorf("%d frames after %d writes", lastFrames, writes)
		}
	}
}

// sparse keeps the start and the end of a huge file and counts the middle.
type sparse struct {
	head, tail []byte
	size, pos  int64
}

const sparseHead = 4096

func (s *sparse) Write(p []byte) (int, error) {
	n := len(p)
	if s.pos < sparseHead {
		k := int(min(int64(n), sparseHead-s.pos))
		if need := int(s.pos) + k; need > len(s.head) {
			s.head = append(s.head, make([]byte, need-len(s.head))...)
		}
		copy(s.head[s.pos:], p[:k])
	}
	if s.pos+int64(n) > s.size { // appended; headers are rewritten in place
		s.tail = append(s.tail, p[max(0, n-sparseHead):]...)
		s.tail = s.tail[max(0, len(s.tail)-sparseHead):]
	}
	s.pos += int64(n)
	s.size = max(s.size, s.pos)
	return n, nil
}

func (s *sparse) Seek(off int64, whence int) (int64, error) {
	s.pos = map[int]int64{io.SeekStart: 0, io.SeekCurrent: s.pos, io.SeekEnd: s.size}[whence] + off
	return s.pos, nil
}

func (s *sparse) ReadAt(p []byte, off int64) (int, error) {
	for i := range p {
		at := off + int64(i)
		switch {
		case at < int64(len(s.head)):
			p[i] = s.head[at]
		case at >= s.size:
			return i, io.EOF
		case at >= s.size-int64(len(s.tail)):
			p[i] = s.tail[at-(s.size-int64(len(s.tail)))]
		default:
			p[i] = 0
		}
	}
	return len(p), nil
}

// Past 4 GiB the reserved JUNK chunk becomes ds64. EBU Tech 3306: RF64 in
// place of RIFF, both 32-bit sizes all ones, ds64 at byte 12 with 28 bytes.
func TestGrowsToRF64(t *testing.T) {
	const channels = 1024
	block := make([][]float64, channels)
	quiet := make([]float64, 4096)
	for c := range block {
		block[c] = quiet
	}
	spec := Spec{RateHz: 48000, Channels: channels, BitDepth: 32, Float: true, Tags: map[string]string{"INAM": "long"}}
	var f sparse
	w, err := NewWriter(&f, spec)
	if err != nil {
		t.Fatal(err)
	}
	// Bytes are what is tested; skip the encoding of 4 GiB of zeros.
	step := int64(len(w.buf))
	grown := false
	for w.written <= 1<<32 {
		w.fill = int(step)
		if err := w.flush(); err != nil {
			t.Fatal(err)
		}
		if id := string(f.head[:4]) + string(f.head[12:16]); id != "RIFFJUNK" && id != "RF64ds64" {
			t.Fatalf("half-made header %q", id)
		}
		if !grown && string(f.head[:4]) == "RF64" {
			grown = true
			if w.headLen-8+w.written-step > max32 {
				t.Error("grew too late")
			}
		}
	}
	if err := w.Write(block); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	u32 := func(at int) uint32 { return binary.LittleEndian.Uint32(f.head[at:]) }
	u64 := func(at int) uint64 { return binary.LittleEndian.Uint64(f.head[at:]) }
	if u32(4) != unknownSize || u32(16) != 28 || u64(20) != uint64(f.size-8) || u64(28) != uint64(w.written) || int64(u64(36)) != w.Frames() || u32(44) != 0 {
		t.Errorf("ds64 % X", f.head[:48])
	}
	r, err := Open(&f, f.size)
	if err != nil {
		t.Fatal(err)
	}
	if i := r.Info(); i.Frames != w.Frames() || i.Tags["INAM"] != "long" || len(r.Warnings()) != 0 {
		t.Errorf("read back %d frames of %d, %v, %v", i.Frames, w.Frames(), i.Tags, r.Warnings())
	}
	if n := len(r.buf); n > 1<<20 {
		t.Errorf("a buffer of %d bytes", n)
	}
}

func TestTooLongWithoutRoom(t *testing.T) {
	var f sparse
	w, err := NewWriter(&f, Spec{RateHz: 48000, Channels: 1, BitDepth: 16, Frames: 10})
	if err != nil {
		t.Fatal(err)
	}
	w.written = max32 - 40
	if err := w.Write([][]float64{make([]float64, 20)}); !errors.Is(err, ErrTooLong) {
		t.Errorf("got %v", err)
	}
}

type failing struct {
	memFile
	left int
}

func (f *failing) Write(p []byte) (int, error) {
	if f.left -= len(p); f.left < 0 {
		return 0, io.ErrShortWrite
	}
	return f.memFile.Write(p)
}

func TestWriteErrorsStick(t *testing.T) {
	for _, room := range []int{10, 60, writeBlockSize + 100} {
		f := &failing{left: room}
		err := Encode(f, samples.NewSound(48000, 1, 500_000), Spec{RateHz: 48000, Channels: 1, BitDepth: 16})
		if !errors.Is(err, io.ErrShortWrite) {
			t.Errorf("room for %d bytes: %v", room, err)
		}
	}
}

func TestLoudnessAndMarksAfterwards(t *testing.T) {
	var m memFile
	spec := Spec{RateHz: 48000, Channels: 1, BitDepth: 16, Loudness: &samples.Loudness{}}
	w, err := NewWriter(&m, spec)
	if err != nil {
		t.Fatal(err)
	}
	err = errors.Join(
		w.Write([][]float64{make([]float64, 99)}),
		w.SetLoudness(samples.Loudness{IntegratedLUFS: -20.1}),
		w.SetMarks([]samples.Loop{{Start: 0, End: 99}}, []samples.Cue{{Frame: 5}}),
		w.Close(), w.Close())
	if err != nil {
		t.Fatal(err)
	}
	i := open(t, m.b).Info()
	if i.Loudness.IntegratedLUFS != -20.1 || len(i.Loops) != 1 || len(i.Cues) != 1 || i.Frames != 99 {
		t.Errorf("%+v", i)
	}
	if err := w.Write([][]float64{{0}}); err == nil {
		t.Error("Write after Close went through")
	}
	plain, _ := NewWriter(&memFile{}, Spec{RateHz: 48000, Channels: 1, BitDepth: 16})
	if plain.SetLoudness(samples.Loudness{}) == nil {
		t.Error("SetLoudness without room went through")
	}
}

func ExampleOpen() {
	var file memFile
	tone := samples.NewSound(48000, 1, 4800)
	spec := SpecOf(tone, 16)
	spec.Loops = []samples.Loop{{Start: 480, End: 4800}}
	if err := Encode(&file, tone, spec); err != nil {
		fmt.Println(err)
	}
	r, err := Open(bytes.NewReader(file.b), int64(len(file.b)))
	if err != nil {
		fmt.Println(err)
	}
	i := r.Info()
	fmt.Println(i.RateHz, "Hz,", i.BitDepth, "bit,", i.DurationS(), "s, loop from frame", i.Loops[0].Start)
	// Output: 48000 Hz, 16 bit, 0.1 s, loop from frame 480
}
