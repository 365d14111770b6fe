package wav

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// opener walks the chunks of a file once and collects what they claim.
type opener struct {
	r       io.ReaderAt
	size    int64
	window  []byte // cache for headers, so that a file of tiny chunks is read linearly
	winOff  int64
	riffEnd int64 // where the RIFF form says it ends, or size if it says nothing usable

	ds64      *ds64
	formatAt  int64
	formatRaw []byte // nil until the fmt chunk was met
	data      dataChunk
	fact      int64 // frames according to `fact`; -1 absent

	warnings []Warning
	meta     metadata
	metaLeft int64 // bytes of metadata that may still be kept
	ioErr    error
}

// dataChunk is where the samples lie, after the claim met the file.
type dataChunk struct {
	met        bool
	at         int64
	bytes      int64 // present
	claim      int64 // promised; equals bytes unless the file is cut
	unfinished bool  // the size was never written
}

type ds64 struct {
	riffSize, dataSize, frames uint64
	table                      []byte // 12-byte entries
}

func (o *opener) warn(at int64, text string, args ...any) {
	switch {
	case len(o.warnings) < maxWarnings-1:
		o.warnings = append(o.warnings, Warning{at, fmt.Sprintf(text, args...)})
	case len(o.warnings) == maxWarnings-1:
		o.warnings = append(o.warnings, Warning{at, "and more; not listed"})
	}
}

// peek returns n ≤ 4096 bytes at off, fewer at the end of the file. The
// result is valid until the next call.
func (o *opener) peek(off int64, n int) []byte {
	if off >= o.size {
		return nil
	}
	n = int(min(int64(n), o.size-off))
	if off < o.winOff || off+int64(n) > o.winOff+int64(len(o.window)) {
		o.window = o.window[:min(int64(cap(o.window)), o.size-off)]
		o.winOff = off
		got, err := o.r.ReadAt(o.window, off)
		o.window = o.window[:got]
		if err != nil && !errors.Is(err, io.EOF) && o.ioErr == nil {
			o.ioErr = fmt.Errorf("reading at byte %d: %w", off, err)
		}
		n = min(n, got)
	}
	from := int(off - o.winOff)
	return o.window[from : from+n]
}

// payload returns a copy of n bytes at off, less if the allowance for
// metadata is used up.
func (o *opener) payload(off, n int64) []byte {
	if n > o.metaLeft {
		o.warn(off, "%d bytes of metadata; only the first %d are read", n, o.metaLeft)
		n = o.metaLeft
	}
	o.metaLeft -= n
	b := make([]byte, n)
	got, err := o.r.ReadAt(b, off)
	if err != nil && !errors.Is(err, io.EOF) && o.ioErr == nil {
		o.ioErr = fmt.Errorf("reading at byte %d: %w", off, err)
	}
	return b[:got]
}

// form reads the first twelve bytes.
func (o *opener) form() error {
	b := o.peek(0, 12)
	if o.ioErr != nil {
		return o.ioErr
	}
	if len(b) < 12 {
		return &FormatError{int64(len(b)), fmt.Sprintf("the file ends after %d bytes, within the RIFF header", len(b))}
	}
	id, kind := string(b[:4]), string(b[8:12])
	riffSize := binary.LittleEndian.Uint32(b[4:])
	switch id {
	case "RIFF", "RF64", "BW64":
	case "RIFX":
		return &UnsupportedError{0, "RIFX, the big-endian form of RIFF"}
	default:
		return &FormatError{0, fmt.Sprintf("it begins with %q instead of RIFF, RF64 or BW64", id)}
	}
	if kind != "WAVE" {
		return &UnsupportedError{8, fmt.Sprintf("a RIFF file of kind %q, not WAVE", kind)}
	}
	o.riffEnd = o.size
	if id == "RIFF" {
		o.setRIFFSize(4, uint64(riffSize))
	}
	return nil
}

// setRIFFSize checks a claimed size of the whole form, which counts from byte 8.
func (o *opener) setRIFFSize(at int64, n uint64) {
	switch {
	case n == 0 || n == unknownSize || n == math.MaxUint64:
		o.warn(at, "the RIFF size was never written (%d)", n)
	case n > uint64(o.size-8):
		// One byte over is the pad byte of the last chunk, left out at the
		// very end of the file; the walk reports that itself.
		if n != uint64(o.size-8)+1 {
			o.warn(at, "the RIFF size promises %d bytes more than the file has", n-uint64(o.size-8))
		}
	default:
		o.riffEnd = 8 + int64(n)
	}
}

// walk visits every chunk, bounded by the real size of the file.
func (o *opener) walk() error {
	pos := int64(12)
	for pos+8 <= o.size && o.ioErr == nil {
		if pos >= o.riffEnd && o.complete() {
			o.warn(pos, "%d bytes after the end of the RIFF form", o.size-pos)
			return nil
		}
		head := o.peek(pos, 8)
		if len(head) < 8 {
			break
		}
		id, size32 := string(head[:4]), binary.LittleEndian.Uint32(head[4:])
		if !plausibleID(id) {
			if o.complete() {
				o.warn(pos, "%d bytes that are no chunk after the last chunk", o.size-pos)
				return nil
			}
			return &FormatError{pos, fmt.Sprintf("no chunk begins here (%q) and %s", id, o.missing())}
		}
		n := o.visit(id, pos, size32)
		end := pos + 8 + n
		if end > o.riffEnd {
			o.warn(pos, "the RIFF size says the file ends at byte %d, inside the %q chunk", o.riffEnd, id)
			o.riffEnd = o.size
		}
		pos = end
		if n%2 == 1 {
			pos = o.skipPad(end, id)
		}
	}
	if o.ioErr != nil {
		return o.ioErr
	}
	if !o.complete() {
		return &FormatError{min(pos, o.size), "the file ends here and " + o.missing()}
	}
	if left := o.size - pos; left > 0 {
		o.warn(pos, "%d stray bytes after the last chunk", left)
	}
	return nil
}

func (o *opener) complete() bool { return o.formatRaw != nil && o.data.met }

func (o *opener) missing() string {
	switch {
	case o.formatRaw == nil && !o.data.met:
		return "there was no fmt and no data chunk"
	case o.formatRaw == nil:
		return "there was no fmt chunk"
	}
	return "there was no data chunk"
}

// visit handles one chunk and returns how many payload bytes it takes up.
func (o *opener) visit(id string, pos int64, size32 uint32) int64 {
	body := pos + 8
	avail := o.size - body
	claim, known := o.claim(id, size32)
	if id == "data" && !o.data.met {
		return o.visitData(body, avail, claim, known)
	}
	n := avail
	if known && claim <= uint64(avail) {
		n = int64(claim)
	} else if id != "data" {
		o.warn(pos, "the %q chunk claims %d bytes, %d are left in the file", id, claim, avail)
	}
	switch id {
	case "fmt ":
		if o.formatRaw != nil {
			o.warn(pos, "a second fmt chunk; ignored")
			break
		}
		o.formatAt = body
		o.formatRaw = o.payload(body, min(n, fmtExtensibleSize))
	case "data":
		o.warn(pos, "a second data chunk of %d bytes; ignored", n)
	case "ds64":
		o.visitDS64(body, n)
	case "fact":
		if b := o.payload(body, min(n, 4)); len(b) == 4 {
			o.fact = int64(binary.LittleEndian.Uint32(b))
		}
	default:
		o.meta.visit(o, id, body, n)
	}
	return n
}

// claim resolves a 32-bit size field, which a ds64 chunk may stand in for. ok
// is false where the size was never written.
func (o *opener) claim(id string, size32 uint32) (n uint64, ok bool) {
	if size32 != unknownSize {
		return uint64(size32), true
	}
	if o.ds64 == nil {
		return unknownSize, false
	}
	if id == "data" {
		n = o.ds64.dataSize
		return n, n != math.MaxUint64 && n != unknownSize
	}
	for t := o.ds64.table; len(t) >= 12; t = t[12:] {
		if string(t[:4]) == id {
			return binary.LittleEndian.Uint64(t[4:]), true
		}
	}
	return unknownSize, false
}

func (o *opener) visitData(body, avail int64, claim uint64, known bool) int64 {
	d := dataChunk{met: true, at: body, bytes: avail, claim: avail}
	switch {
	case !known || (claim == 0 && avail > 0 && !o.chunksFrom(body)):
		// A recorder that was interrupted, or a writer into a pipe.
		d.unfinished = true
		o.warn(body-4, "the data size was never written (%d); the %d bytes up to the end of the file are taken as sound", claim, avail)
	case claim > uint64(avail):
		d.claim = int64(min(claim, math.MaxInt64))
		o.warn(body-4, "the data chunk claims %d bytes, %d are left in the file", claim, avail)
	default:
		d.bytes, d.claim = int64(claim), int64(claim)
	}
	o.data = d
	return d.bytes
}

// chunksFrom tells whether the rest of the file is nothing but whole chunks:
// then a data size of 0 is the truth and not an unfinished header.
func (o *opener) chunksFrom(pos int64) bool {
	for pos+8 <= o.size {
		head := o.peek(pos, 8)
		if len(head) < 8 || !plausibleID(string(head[:4])) {
			return false
		}
		n := int64(binary.LittleEndian.Uint32(head[4:]))
		pos += 8 + n + n%2
	}
	return pos == o.size || pos == o.size+1
}

func (o *opener) visitDS64(body, n int64) {
	if n < ds64Size {
		o.warn(body, "the ds64 chunk has %d bytes, it needs %d; ignored", n, ds64Size)
		return
	}
	if o.ds64 != nil {
		o.warn(body, "a second ds64 chunk; ignored")
		return
	}
	if body != 20 {
		o.warn(body, "the ds64 chunk is not the first one")
	}
	b := o.payload(body, min(n, 64<<10))
	if len(b) < ds64Size {
		return
	}
	le := binary.LittleEndian
	d := &ds64{riffSize: le.Uint64(b), dataSize: le.Uint64(b[8:]), frames: le.Uint64(b[16:])}
	entries := int64(le.Uint32(b[24:]))
	if entries*12 > n-ds64Size {
		o.warn(body+24, "the ds64 table claims %d entries, there is room for %d", entries, (n-ds64Size)/12)
		entries = (n - ds64Size) / 12
	}
	d.table = b[ds64Size:min(ds64Size+entries*12, int64(len(b)))]
	o.ds64 = d
	o.setRIFFSize(body, d.riffSize)
}

// skipPad steps over the zero byte that follows a chunk of odd size. Some
// writers leave it out: then the next chunk begins at once.
func (o *opener) skipPad(end int64, id string) int64 {
	b := o.peek(end, 5)
	if len(b) == 0 {
		if !o.data.unfinished && o.data.at+o.data.claim <= o.size {
			o.warn(end, "the pad byte after the odd-sized %q chunk is missing", id)
		}
		return end
	}
	if b[0] == 0 || len(b) < 4 {
		return end + 1
	}
	padded := len(b) == 5 && plausibleID(string(b[1:5])) && !plausibleID(string(b[:4]))
	if !padded && plausibleID(string(b[:4])) {
		o.warn(end, "the pad byte after the odd-sized %q chunk is missing", id)
		return end
	}
	o.warn(end, "the pad byte after the odd-sized %q chunk is 0x%02X, not 0", id, b[0])
	return end + 1
}

// plausibleID tells whether four bytes can be a chunk id: printable ASCII.
func plausibleID(id string) bool {
	for i := 0; i < len(id); i++ {
		if id[i] < ' ' || id[i] > '~' {
			return false
		}
	}
	return len(id) == 4
}
