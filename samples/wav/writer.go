package wav

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"tachbench/samples"
)

// writeBlockSize is how many bytes of sound are gathered before they reach
// the file and the sizes in the header follow.
const writeBlockSize = 256 << 10

// max32 is the largest RIFF size that still is a size and not a mark.
const max32 = unknownSize - 1

// ErrTooLong says that the sound outgrew 4 GiB although Spec.Frames had
// announced a shorter one, so that no room was kept for the 64-bit header.
var ErrTooLong = errors.New("wav: the sound is longer than was announced and does not fit a 32-bit file")

// Writer writes one WAVE file. After every block the sizes in the header are
// rewritten, so the file is valid at every such moment; an interruption can
// leave at most one block of bytes behind the counted ones. Marks and tags
// follow the sound and appear when Close writes them.
type Writer struct {
	w       io.WriteSeeker
	spec    Spec
	enc     encoder
	buf     []byte
	fill    int   // bytes waiting in buf
	written int64 // bytes of sound in the file
	reserve bool  // a JUNK chunk keeps room for ds64
	headLen int64
	closed  bool
	err     error // sticky
}

// NewWriter begins a file at the start of w, which must be empty. If w also
// is an io.WriterAt (an *os.File), headers are rewritten without seeking. It
// does not close w.
func NewWriter(w io.WriteSeeker, spec Spec) (*Writer, error) {
	if err := spec.validate(); err != nil {
		return nil, err
	}
	spec.Loops, spec.Cues = slices.Clone(spec.Loops), slices.Clone(spec.Cues)
	wr := &Writer{w: w, spec: spec, enc: newEncoder(&spec)}
	wr.headLen = int64(len(wr.header(0)))
	expect := float64(wr.headLen) + float64(spec.Frames)*float64(spec.frameBytes()) + float64(len(spec.tail()))
	wr.reserve = spec.Frames == 0 || expect > max32-64<<10
	head := wr.header(0)
	wr.headLen = int64(len(head))
	// An even number of frames a block keeps unfinished files free of odd sizes.
	frames := max(writeBlockSize/spec.frameBytes()/2*2, 2)
	if spec.Frames > 0 {
		frames = int(min(int64(frames), spec.Frames+spec.Frames%2))
	}
	wr.buf = make([]byte, frames*spec.frameBytes())
	if _, err := w.Write(head); err != nil {
		return nil, err
	}
	return wr, nil
}

// Encode writes all of s to w as one file.
func Encode(w io.WriteSeeker, s *samples.Sound, spec Spec) error {
	if spec.Frames == 0 {
		spec.Frames = int64(s.Frames())
	}
	wr, err := NewWriter(w, spec)
	if err != nil {
		return err
	}
	if err := wr.Write(s.Chans); err != nil {
		return err
	}
	return wr.Close()
}

// Write appends the frames of src, one slice a channel, all of equal length.
// It panics if src has another shape. Errors are sticky.
func (w *Writer) Write(src [][]float64) error {
	if len(src) != w.spec.Channels {
		panic(fmt.Sprintf("wav: Write of %d channels into a file with %d", len(src), w.spec.Channels))
	}
	frames := len(src[0])
	for _, ch := range src {
		if len(ch) != frames {
			panic("wav: Write of channels of different length")
		}
	}
	if w.closed && w.err == nil {
		w.err = errors.New("wav: Write after Close")
	}
	frameBytes := w.spec.frameBytes()
	for from := 0; from < frames && w.err == nil; {
		n := min(frames-from, (len(w.buf)-w.fill)/frameBytes)
		w.enc.encode(w.buf[w.fill:], src, from, n)
		w.fill += n * frameBytes
		from += n
		if w.fill == len(w.buf) {
			w.err = w.flush()
		}
	}
	return w.err
}

// SetMarks replaces loops and cues; allowed until Close.
func (w *Writer) SetMarks(loops []samples.Loop, cues []samples.Cue) error {
	if err := validateMarks(loops, cues); err != nil {
		return err
	}
	w.spec.Loops, w.spec.Cues = slices.Clone(loops), slices.Clone(cues)
	return nil
}

// SetLoudness replaces the loudness values, for a sound that is measured
// while it is written. The Spec must have had Loudness or Broadcast, which
// reserves the room.
func (w *Writer) SetLoudness(l samples.Loudness) error {
	if !w.spec.hasBext() {
		return errors.New("wav: SetLoudness on a file begun without a bext chunk")
	}
	w.spec.Loudness = &l
	return nil
}

// Frames returns the number of frames written so far.
func (w *Writer) Frames() int64 { return (w.written + int64(w.fill)) / int64(w.spec.frameBytes()) }

// Clipped returns how many samples lay beyond full scale and were held there.
func (w *Writer) Clipped() int64 { return w.enc.clipped }

// Close writes what is still waiting, the pad byte, marks and tags, and the
// final sizes. It does not close the underlying file.
func (w *Writer) Close() error {
	if w.closed {
		return w.err
	}
	w.closed = true
	if w.err != nil {
		return w.err
	}
	if w.fill > 0 {
		if w.err = w.flush(); w.err != nil {
			return w.err
		}
	}
	tail := w.spec.tail()
	if w.written%2 == 1 {
		tail = append([]byte{0}, tail...)
	}
	if w.err = w.fits(w.written, int64(len(tail))); w.err != nil {
		return w.err
	}
	if len(tail) > 0 {
		if _, w.err = w.w.Write(tail); w.err != nil {
			return w.err
		}
	}
	w.err = w.rewriteHeader(int64(len(tail)))
	return w.err
}

func (w *Writer) flush() error {
	if err := w.fits(w.written+int64(w.fill), 0); err != nil {
		return err
	}
	if _, err := w.w.Write(w.buf[:w.fill]); err != nil {
		return err
	}
	w.written += int64(w.fill)
	w.fill = 0
	return w.rewriteHeader(0)
}

func (w *Writer) fits(dataBytes, tail int64) error {
	if !w.reserve && w.headLen-8+dataBytes+tail > max32 {
		return ErrTooLong
	}
	return nil
}

// rewriteHeader puts the header for the present sizes at the start of the
// file in a single write, so that it never is half old and half new.
func (w *Writer) rewriteHeader(tail int64) error {
	head := w.header(tail)
	if at, ok := w.w.(io.WriterAt); ok {
		_, err := at.WriteAt(head, 0)
		return err
	}
	if _, err := w.w.Seek(0, io.SeekStart); err != nil {
		return err
	}
	if _, err := w.w.Write(head); err != nil {
		return err
	}
	_, err := w.w.Seek(0, io.SeekEnd)
	return err
}

// header returns everything before the samples, with tail bytes after them.
func (w *Writer) header(tail int64) []byte {
	s := &w.spec
	frames := w.written / int64(s.frameBytes())
	riffSize := w.headLen - 8 + w.written + tail
	large := w.reserve && riffSize > max32
	small := func(n int64) uint32 { return uint32(min(n, math.MaxUint32)) }

	b := append(make([]byte, 0, 256), "RIFF"...)
	if large {
		copy(b, "RF64")
		b = le.AppendUint32(b, unknownSize)
	} else {
		b = le.AppendUint32(b, small(riffSize))
	}
	b = append(b, "WAVE"...)
	if w.reserve {
		p := make([]byte, ds64Size)
		id := "JUNK"
		if large {
			id = "ds64"
			le.PutUint64(p, uint64(riffSize))
			le.PutUint64(p[8:], uint64(w.written))
			le.PutUint64(p[16:], uint64(frames))
		}
		b = chunk(b, id, p)
	}
	b = chunk(b, "fmt ", s.formatPayload())
	if s.Float || s.extensible() { // asked of every format tag but PCM
		b = chunk(b, "fact", le.AppendUint32(nil, small(frames)))
	}
	if s.hasBext() {
		b = chunk(b, "bext", bextPayload(s.Broadcast, s.Loudness))
	}
	b = append(b, "data"...)
	if large {
		return le.AppendUint32(b, unknownSize)
	}
	return le.AppendUint32(b, small(w.written))
}
