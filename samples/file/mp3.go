package file

import (
	"encoding/binary"
	"errors"
	"io"

	"github.com/hajimehoshi/go-mp3"

	"tachbench/samples"
)

// mp3DecoderDelay is how many frames late any layer III decoder is, by the
// filter bank and its overlap (widely used with the tag below; common
// practice, no clause of the standard).
const mp3DecoderDelay = 528 + 1

// mp3Reader decodes with hajimehoshi/go-mp3, whose traps are these.
//
//   - It always gives 16-bit stereo: a mono file comes back twice, and values
//     past full scale are cut, so an MP3 that runs over cannot be seen as such.
//   - Its Length counts every header it can find, the silent information frame
//     of an encoder included, and the encoder's delay and padding are left in:
//     a loop made from it does not close. Here that frame is left out and the
//     delay cut where the encoder's tag states it; without a tag the sound
//     begins about 1105 frames late, as in every simple player.
//   - A file cut within a frame ends like a whole one. Here the frames are
//     found beforehand and only whole ones are handed on, so that a cut is
//     known, and rubbish between frames cannot make it lose step.
//   - It allocates what an ID3 size claims. Tags are stepped over before.
//   - It loses the padding byte of MPEG 2 frames whose MPEG 1 size would be
//     even, which turns nearly every 22.05 kHz file of constant rate into
//     noise at full scale (measured against FFmpeg). Such files are refused.
type mp3Reader struct {
	blocks
	dec    *mp3.Decoder
	raw    []byte
	held   int // bytes in raw
	planar [][]float64
}

// mp3Feed hands whole frames to the decoder. It is no io.Seeker on purpose:
// with one, the decoder would scan the file once more.
type mp3Feed struct {
	scan     *mp3Scanner
	off, end int64
}

func (f *mp3Feed) Read(p []byte) (int, error) {
	if f.off == f.end {
		fr, ok := f.scan.next()
		if !ok {
			return 0, io.EOF
		}
		f.off, f.end = fr.at, fr.at+fr.size
	}
	n, err := f.scan.r.ReadAt(p[:min(int64(len(p)), f.end-f.off)], f.off)
	f.off += int64(n)
	if n > 0 {
		err = nil
	}
	return n, err
}

// mp3SyncWithin is how far into the file, tags aside, the first frame may lie.
const mp3SyncWithin = 4096

// openMP3 returns nil, nil if r is no MP3 at all.
func openMP3(r io.ReaderAt, start, size int64) (codec, error) {
	end := trimTags(r, start, size)
	start, first := findMP3(r, start, end)
	if first == 0 {
		return nil, nil
	}
	switch {
	case !first.layer3():
		return nil, &UnsupportedError{"MPEG audio of layer 1 or 2; only layer 3 (mp3) is read"}
	case first.version() == 0:
		return nil, &UnsupportedError{"MP3 of the MPEG 2.5 kind (8 to 12 kHz), which is not read"}
	}
	m := &mp3Reader{}
	scan := newMP3Scanner(r, start, end)
	f, _ := scan.next()
	tag := readMP3Tag(r, f)
	if !tag.found {
		scan = newMP3Scanner(r, start, end)
	}
	audioAt := scan.pos
	var count int64
	channels := 1
	for {
		before := scan.gapAt
		f, ok := scan.next()
		if scan.gap > 0 && scan.gapAt != before {
			m.warn(scan.gapAt, "%d bytes that are no frame", scan.gap)
		}
		if !ok {
			break
		}
		if f.header.mispadded() {
			return nil, &UnsupportedError{"MP3 at 22050 Hz with padded frames, which the decoder gets wrong; convert it to WAV or FLAC"}
		}
		count++
		if !f.header.mono() {
			channels = 2
		}
	}
	if count == 0 {
		return nil, &BrokenError{"mp3", audioAt, "there is not one whole frame"}
	}
	spf := first.frames()
	here, promised := count*spf, count*spf
	if scan.cut {
		promised += spf
	}
	if tag.frames > 0 && tag.frames < 1<<32 {
		promised = max(tag.frames, count) * spf
		if tag.frames < count {
			m.warn(f.at, "the header counts %d frames, the file has %d", tag.frames, count)
		}
	}
	m.atMost = -1
	if tag.delay+tag.padding > 0 && promised > tag.delay+tag.padding {
		m.skip = tag.delay + mp3DecoderDelay
		promised -= tag.delay + tag.padding
		m.atMost = promised
	}
	m.promised = promised
	m.info = samples.Info{
		Format: "mp3", RateHz: first.rateHz(), Channels: channels,
		Frames: min(promised, max(here-m.skip, 0)),
	}
	m.raw, m.planar = make([]byte, 4*1152), make([][]float64, channels)
	for c := range m.planar {
		m.planar[c] = make([]float64, 1152)
	}
	feed := newMP3Scanner(r, audioAt, end)
	feed.first = first
	err := shield("mp3", func() (err error) {
		m.dec, err = mp3.NewDecoder(&mp3Feed{scan: feed})
		return err
	})
	if err != nil {
		return nil, &BrokenError{"mp3", audioAt, text(err)}
	}
	m.next = m.decode
	return m, nil
}

func (m *mp3Reader) decode() ([][]float64, error) {
	n, err := m.dec.Read(m.raw[m.held:])
	if n += m.held; n < 4 {
		m.held = n
		if err == nil {
			return nil, nil
		}
		return nil, err
	}
	frames := n / 4
	for c := range m.planar {
		m.planar[c] = m.planar[c][:frames]
		for i := range m.planar[c] {
			m.planar[c][i] = float64(int16(binary.LittleEndian.Uint16(m.raw[4*i+2*c:]))) / (1 << 15)
		}
	}
	m.held = copy(m.raw, m.raw[4*frames:n])
	if errors.Is(err, io.EOF) {
		err = nil // said again by the next call
	}
	return m.planar, err
}

// findMP3 looks for the first frame: a header followed by two more of its
// kind, or by as many as fit into the file. 0 if there is none.
func findMP3(r io.ReaderAt, start, end int64) (int64, mp3Header) {
	s := newMP3Scanner(r, start, end)
	for pos := start; pos < min(start+mp3SyncWithin, end-3); pos++ {
		h := s.header(pos)
		if !h.sync() {
			continue
		}
		if pos == start && (!h.layer3() || h.version() == 0) && h>>12&15 != 15 && h>>10&3 != 3 && h>>12&15 != 0 {
			// Perhaps a relative that is not read; believed only if a
			// second header of its kind follows soon.
			for q := pos + 24; q < min(pos+2048, end-3); q++ {
				if s.header(q).same(h) {
					return pos, h
				}
			}
		}
		ok, at := true, pos
		for k := 0; k < 3 && ok; k++ {
			g := s.header(at)
			if k > 0 && at >= end-3 {
				break
			}
			n := g.size()
			ok = n > 0 && g.same(h) && (k > 0 || at+n <= end)
			at += n
		}
		if ok {
			return pos, h
		}
	}
	return start, 0
}

// mp3Tag is the information frame encoders put first: the frame count ("Xing"
// or "Info") and, by later habit, the encoder's delay and padding. There is
// no standard for it; the layout is the one every encoder and player shares.
type mp3Tag struct {
	found          bool
	frames         int64 // 0 not stated
	delay, padding int64 // sample frames
}

func readMP3Tag(r io.ReaderAt, f mp3Frame) (t mp3Tag) {
	b, err := bytesAt(r, f.at, f.size)
	if err != nil {
		return t
	}
	at := 4 + f.header.sideSize()
	if f.header.protected() {
		at += 2
	}
	if at+8 > int64(len(b)) {
		return t
	}
	b = b[at:]
	if id := string(b[:4]); id != "Xing" && id != "Info" {
		return t
	}
	t.found = true
	flags := binary.BigEndian.Uint32(b[4:])
	p := 8
	for bit, n := range map[uint32]int{1: 4, 2: 4, 4: 100, 8: 4} {
		if flags&bit != 0 {
			p += n
		}
	}
	if flags&1 != 0 && len(b) >= 12 {
		t.frames = int64(binary.BigEndian.Uint32(b[8:]))
	}
	if len(b) >= p+24 && b[p] != 0 { // nine bytes of encoder name, twelve of settings, then 12 + 12 bits
		t.delay = int64(b[p+21])<<4 | int64(b[p+22]>>4)
		t.padding = int64(b[p+22]&15)<<8 | int64(b[p+23])
	}
	return t
}

// trimTags returns the end of the file without ID3v1 and APE tags.
func trimTags(r io.ReaderAt, start, end int64) int64 {
	if end-start >= 128 {
		if b, err := bytesAt(r, end-128, 3); err == nil && string(b) == "TAG" {
			end -= 128
		}
	}
	if end-start >= 32 {
		if b, err := bytesAt(r, end-32, 32); err == nil && string(b[:8]) == "APETAGEX" {
			n := int64(binary.LittleEndian.Uint32(b[12:]))
			if binary.LittleEndian.Uint32(b[20:])&(1<<31) != 0 {
				n += 32 // header
			}
			if n >= 32 && n <= end-start {
				end -= n
			}
		}
	}
	return end
}
