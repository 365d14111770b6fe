package file

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/jfreymuth/vorbis"

	"tachbench/samples"
)

// Vorbis I section 4.3.9 has its own order of channels; ours is that of WAV.
// vorbisOrder[n][c] is the place in the stream of our channel c.
var vorbisOrder = [9][]int{
	1: {0},
	2: {0, 1},
	3: {0, 2, 1},
	4: {0, 1, 2, 3},
	5: {0, 2, 1, 3, 4},
	6: {0, 2, 1, 5, 3, 4},
	7: {0, 2, 1, 6, 5, 3, 4},
	8: {0, 2, 1, 7, 5, 6, 3, 4},
}

// vorbisReader decodes packet by packet with jfreymuth/vorbis. Decoded values
// are kept where they run past full scale.
type vorbisReader struct {
	blocks
	ogg    oggReader
	dec    vorbis.Decoder
	buf    []float32
	planar [][]float64
}

func openVorbis(r io.ReaderAt, size int64) (codec, error) {
	v := &vorbisReader{}
	v.info.Format = "ogg"
	v.ogg = oggReader{r: r, size: size, raw: make([]byte, oggMaxPage)}
	if err := v.findStream(); err != nil {
		return nil, err
	}
	var tags map[string]string
	for i := range 3 {
		packet, err := v.ogg.next()
		if err == nil && (len(packet) < 7 || packet[0] != byte(1+2*i) || string(packet[1:7]) != "vorbis") {
			err = errors.New("a header packet is missing")
		}
		if err == nil {
			err = v.header(i, packet, &tags)
		}
		if err != nil {
			var ue *UnsupportedError
			if errors.As(err, &ue) {
				return nil, err
			}
			return nil, &BrokenError{"ogg", v.ogg.page.at, text(err)}
		}
	}
	n := v.dec.Channels()
	v.info = samples.Info{Format: "ogg", RateHz: v.dec.SampleRate(), Channels: n, Mask: flacMasks[n], Tags: tags, Frames: -1}
	v.buf = make([]float32, v.dec.BufferSize())
	v.planar = make([][]float64, n)
	for c := range v.planar {
		v.planar[c] = make([]float64, v.dec.BufferSize()/n)
	}
	v.next, v.atMost = v.decode, -1
	v.finished = func() {
		if left := size - v.ogg.pos; left > 0 {
			v.warn(v.ogg.pos, "%d bytes after the end of the stream; not read", left)
		}
	}
	if err := shield("ogg", v.measure); err != nil {
		return nil, err
	}
	return v, nil
}

// findStream looks for a Vorbis stream among the first pages, which all
// streams of a file begin with.
func (v *vorbisReader) findStream() error {
	kind := "a stream that is not Vorbis"
	pos := int64(0)
	for range 16 {
		p, err := readPage(v.ogg.r, pos, v.ogg.size, v.ogg.raw)
		if err != nil {
			return &BrokenError{"ogg", pos, text(err)}
		}
		if p.flags&oggFirst == 0 {
			break
		}
		switch b := string(p.body[:min(len(p.body), 8)]); {
		case len(b) > 6 && b[:7] == "\x01vorbis":
			v.ogg.serial = p.serial
			return nil
		case b == "OpusHead":
			kind = "Opus"
		case len(b) > 4 && b[:5] == "\x7fFLAC":
			kind = "FLAC"
		case len(b) > 4 && b[:5] == "Speex":
			kind = "Speex"
		}
		pos += p.size()
	}
	return &UnsupportedError{"an Ogg file with " + kind + "; of Ogg, only Vorbis is read"}
}

// header checks the i-th header packet and hands it on. The comment header is
// read here: the decoder believes its counts.
func (v *vorbisReader) header(i int, b []byte, tags *map[string]string) error {
	switch i {
	case 0:
		if len(b) < 30 {
			return errors.New("the first header ends early")
		}
		channels, rate := int(b[11]), binary.LittleEndian.Uint32(b[12:])
		short, long := b[28]&15, b[28]>>4
		switch {
		case channels == 0 || rate == 0 || rate > 10_000_000:
			return fmt.Errorf("the header promises %d channels at %d Hz", channels, rate)
		case channels > 8:
			return &UnsupportedError{fmt.Sprintf("Ogg Vorbis with %d channels; up to 8 are read", channels)}
		case short < 6 || long > 13 || short > long: // Vorbis I section 4.2.2
			return fmt.Errorf("the header promises blocks of 2^%d and 2^%d", short, long)
		}
	case 1:
		*tags = parseComments(b[7:min(len(b), maxCommentBytes)])
		return nil
	case 2:
		var err error
		if b, err = checkSetup(b); err != nil {
			return err
		}
	}
	return shield("ogg", func() error { return v.dec.ReadHeader(b) })
}

// measure decodes the first page of sound, compares its count with what the
// page says (Vorbis I appendix A.2: a stream may begin before or after 0),
// finds the length from the last page, and goes back.
func (v *vorbisReader) measure() error {
	start := v.ogg
	start.packet = nil
	var counted, granule int64
	ended := false
	for {
		packet, err := v.ogg.next()
		if err != nil || len(packet) == 0 && v.ogg.pageDone() {
			granule, ended = counted, true // what follows is told while reading
			break
		}
		out, err := v.dec.DecodeInto(packet, v.buf)
		if err != nil {
			granule, ended = counted, true
			break
		}
		counted += int64(len(out) / v.info.Channels)
		if v.ogg.pageDone() && v.ogg.page.granule >= 0 {
			granule, ended = v.ogg.page.granule, v.ogg.ended
			break
		}
	}
	first := granule - counted // position of the first decoded frame
	if ended {
		first = 0 // a stream of one page: its count cuts the end instead
	}
	if first < 0 {
		v.skip = -first
	}
	if last, ok := v.ogg.lastPage(); ok {
		n := last.granule - max(first, 0)
		switch {
		case n < 0 || n > 1<<40:
			v.warn(last.at, "the last page counts %d frames", last.granule)
		case last.flags&oggLast != 0:
			v.info.Frames, v.promised, v.atMost = n, n, n
		default: // cut: the frames of the pages that are whole
			v.info.Frames = n
		}
	}
	raw := v.ogg.raw
	v.ogg = start
	v.ogg.raw = raw
	// The page's bytes lie in raw, which has moved on since.
	if len(v.ogg.page.laces) > 0 {
		p, err := readPage(v.ogg.r, v.ogg.page.at, v.ogg.size, raw)
		if err != nil {
			return &BrokenError{"ogg", v.ogg.page.at, text(err)}
		}
		v.ogg.page = p
	}
	v.dec.Clear()
	return nil
}

func (v *vorbisReader) decode() ([][]float64, error) {
	packet, err := v.ogg.next()
	if err != nil {
		return nil, err
	}
	if len(packet) == 0 {
		return nil, nil
	}
	out, err := v.dec.DecodeInto(packet, v.buf)
	if err != nil {
		return nil, fmt.Errorf("a damaged packet in the page at byte %d", v.ogg.page.at)
	}
	n := v.info.Channels
	frames := len(out) / n
	for c, from := range vorbisOrder[n] {
		v.planar[c] = v.planar[c][:frames]
		for i := range v.planar[c] {
			v.planar[c][i] = float64(out[i*n+from])
		}
	}
	return v.planar, nil
}

// text gives an error met in a header in words.
func text(err error) string {
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) || errors.Is(err, errOggEnd) {
		return "the file ends within the headers"
	}
	var be *BrokenError
	if errors.As(err, &be) {
		return be.Text
	}
	return err.Error()
}
