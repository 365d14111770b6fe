package wav

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"

	"tachbench/samples"
)

// Reader is an open WAVE file. It implements samples.Reader; it is not safe
// for use by several goroutines at once.
type Reader struct {
	r        io.ReaderAt
	info     samples.Info
	warnings []Warning
	bext     *Broadcast

	format   format
	next     int64 // byte offset of the next frame
	left     int64 // whole frames still to read
	promised int64 // frames the header promises; equals Info.Frames unless the file is cut
	done     error // what Read says once left is 0
	buf      []byte
}

// Open reads the headers of a WAVE file of the given size in bytes. It reads
// the chunk headers and metadata only and keeps at most 16 MiB of metadata;
// the sound is read by Read. Errors are *FormatError, *UnsupportedError or
// what r returned.
func Open(r io.ReaderAt, size int64) (*Reader, error) {
	o := &opener{r: r, size: size, window: make([]byte, 0, 4096), winOff: -1, fact: -1, metaLeft: maxMetaBytes}
	if err := o.form(); err != nil {
		return nil, err
	}
	if err := o.walk(); err != nil {
		return nil, err
	}
	f, err := parseFormat(o.formatRaw, o.formatAt, o.warn)
	if err != nil {
		return nil, err
	}
	return newReader(o, f), nil
}

func newReader(o *opener, f format) *Reader {
	frameBytes := int64(f.frameBytes())
	frames, rest := o.data.bytes/frameBytes, o.data.bytes%frameBytes
	rd := &Reader{
		r: o.r, format: f, bext: o.meta.bext, done: io.EOF,
		next: o.data.at, left: frames, promised: o.data.claim / frameBytes,
	}
	rd.buf = make([]byte, min(max(readBlockSize/frameBytes, 1)*frameBytes, max(frames*frameBytes, 1)))
	cut := o.data.claim > o.data.bytes
	if rest != 0 && !cut {
		o.warn(o.data.at+frames*frameBytes, "%d bytes at the end of the data are less than a frame of %d", rest, frameBytes)
	}
	if rd.promised > frames {
		rd.done = &samples.TruncatedError{Got: frames, Promised: rd.promised, Where: fmt.Sprintf("the file ends at byte %d", o.size)}
	}
	if want := o.frameClaim(); want >= 0 && want != rd.promised && !o.data.unfinished {
		o.warn(o.data.at, "the header counts %d frames, the data size makes %d", want, rd.promised)
	}
	for i, l := range o.meta.loops {
		if l.End > rd.promised {
			o.warn(o.data.at, "loop %d reaches to frame %d, the sound has %d", i+1, l.End, rd.promised)
		}
	}
	rd.info = samples.Info{
		Format: "wav", RateHz: f.rateHz, Channels: f.channels, BitDepth: f.validBits, Float: f.float, Mask: f.mask,
		Frames: frames, Loops: o.meta.loops, Cues: o.meta.cues(), Tags: o.meta.tags, Loudness: o.meta.loudness,
	}
	rd.warnings = o.warnings
	return rd
}

// frameClaim returns the frame count of ds64 or fact, -1 if neither says.
func (o *opener) frameClaim() int64 {
	if o.ds64 != nil {
		if n := o.ds64.frames; n > 0 && n < 1<<62 { // BW64 leaves it 0
			return int64(n)
		}
		return -1
	}
	if o.fact == unknownSize || o.fact == 0 {
		return -1
	}
	return o.fact
}

// Info returns what the headers say, checked against the size of the file:
// Frames is what is there. Loops and cues are as written, even where they lie
// outside of the sound. The result is the caller's own.
func (r *Reader) Info() samples.Info {
	i := r.info
	i.Loops, i.Cues, i.Tags = slices.Clone(i.Loops), slices.Clone(i.Cues), maps.Clone(i.Tags)
	if i.Loudness != nil {
		l := *i.Loudness
		i.Loudness = &l
	}
	return i
}

// Warnings lists the oddities met while opening, in the order of discovery.
func (r *Reader) Warnings() []Warning { return slices.Clone(r.warnings) }

// Broadcast returns the text of the bext chunk, nil if the file has none.
func (r *Reader) Broadcast() *Broadcast {
	if r.bext == nil {
		return nil
	}
	b := *r.bext
	return &b
}

// Read fills dst as samples.Reader asks. It panics if dst has not one slice a
// channel or its slices differ in length. It allocates nothing.
func (r *Reader) Read(dst [][]float64) (int, error) {
	if len(dst) != r.info.Channels {
		panic(fmt.Sprintf("wav: Read into %d channels of a file with %d", len(dst), r.info.Channels))
	}
	want := len(dst[0])
	for _, ch := range dst {
		if len(ch) != want {
			panic("wav: Read into channels of different length")
		}
	}
	if want == 0 {
		return 0, nil
	}
	if r.left == 0 {
		return 0, r.done
	}
	frameBytes := r.format.frameBytes()
	n := 0
	for n < want && r.left > 0 {
		step := int(min(int64(want-n), int64(len(r.buf)/frameBytes), r.left))
		got, err := r.r.ReadAt(r.buf[:step*frameBytes], r.next)
		whole := min(got/frameBytes, step)
		decodeFrames(dst, n, whole, r.buf, r.format)
		n += whole
		r.next += int64(whole * frameBytes)
		r.left -= int64(whole)
		if whole < step {
			r.broken(err)
			break
		}
	}
	if n == 0 {
		return 0, r.done
	}
	return n, nil
}

// broken ends the stream early: the source gave less than its size promised.
func (r *Reader) broken(err error) {
	got := r.info.Frames - r.left
	r.left = 0
	if err == nil || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		r.done = &samples.TruncatedError{Got: got, Promised: r.promised, Where: "the file became shorter while it was read"}
		return
	}
	r.done = fmt.Errorf("reading at byte %d: %w", r.next, err)
}

// Close does nothing: the source belongs to the caller.
func (r *Reader) Close() error { return nil }
