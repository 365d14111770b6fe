package file

import "io"

// mp3Header is the four bytes before an MPEG audio frame (ISO/IEC 11172-3
// section 2.4.1.3, 13818-3 section 2.4.1).
type mp3Header uint32

// Bit rates of layer III in kbit/s, MPEG 1 and MPEG 2 (11172-3 section
// 2.4.2.3, 13818-3 section 2.4.2.3); index 0 is the free format, 15 invalid.
var mp3Rates = [2][15]int{
	{0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320},
	{0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160},
}

func (h mp3Header) sync() bool      { return h>>21 == 0x7FF && h>>19&3 != 1 && h>>17&3 != 0 }
func (h mp3Header) version() int    { return int(h >> 19 & 3) } // 3: MPEG 1, 2: MPEG 2, 0: 2.5
func (h mp3Header) layer3() bool    { return h>>17&3 == 1 }
func (h mp3Header) mono() bool      { return h>>6&3 == 3 }
func (h mp3Header) protected() bool { return h>>16&1 == 0 }
func (h mp3Header) rateHz() int     { return [4]int{44100, 48000, 32000, 0}[h>>10&3] >> (h.lsf()) }
func (h mp3Header) lsf() int {
	if h.version() == 3 {
		return 0
	}
	return 1
}

// frames returns how many sample frames it holds.
func (h mp3Header) frames() int64 { return 1152 >> h.lsf() }

// size returns the bytes of the whole frame, 0 if the header cannot be one.
func (h mp3Header) size() int64 {
	i := h >> 12 & 15
	if !h.sync() || !h.layer3() || h.version() == 0 || i == 0 || i == 15 || h.rateHz() == 0 || h&3 == 2 {
		return 0
	}
	n := 144000 * mp3Rates[h.lsf()][i] >> h.lsf() / h.rateHz()
	return int64(n) + int64(h>>9&1)
}

// mispadded tells whether go-mp3 takes the frame for one byte shorter than it
// is: it adds the padding before it halves.
func (h mp3Header) mispadded() bool {
	n := 144000 * mp3Rates[1][h>>12&15] / max(h.rateHz(), 1)
	return h.lsf() == 1 && h>>9&1 == 1 && n%2 == 0
}

// sideSize returns the bytes of side information after the header.
func (h mp3Header) sideSize() int64 {
	n := [2][2]int64{{32, 17}, {17, 9}}[h.lsf()]
	if h.mono() {
		return n[1]
	}
	return n[0]
}

// same tells whether two headers can belong to one stream.
func (h mp3Header) same(o mp3Header) bool { const m = 0xFFFE0C00; return h&m == o&m }

// mp3Scanner finds the frames in a stretch of a file, one after the other.
// Bytes between frames are stepped over and counted, so that the decoder
// never sees them.
type mp3Scanner struct {
	r        io.ReaderAt
	pos, end int64
	first    mp3Header // 0 until the first frame was found
	window   []byte
	winOff   int64

	gapAt, gap int64 // the last stretch that was no frame
	cut        bool  // the last frame is not whole
}

type mp3Frame struct {
	at, size int64
	header   mp3Header
}

func newMP3Scanner(r io.ReaderAt, start, end int64) *mp3Scanner {
	return &mp3Scanner{r: r, pos: start, end: end, window: make([]byte, 0, 64<<10)}
}

// at returns n bytes at off, fewer at the end; valid until the next call.
func (s *mp3Scanner) at(off, n int64) []byte {
	n = min(n, s.end-off)
	if n <= 0 {
		return nil
	}
	if off < s.winOff || off+n > s.winOff+int64(len(s.window)) {
		s.window = s.window[:min(int64(cap(s.window)), s.end-off)]
		s.winOff = off
		got, _ := s.r.ReadAt(s.window, off)
		s.window = s.window[:got]
	}
	from := off - s.winOff
	return s.window[from:max(from, min(from+n, int64(len(s.window))))]
}

func (s *mp3Scanner) header(off int64) mp3Header {
	b := s.at(off, 4)
	if len(b) < 4 {
		return 0
	}
	return mp3Header(uint32(b[0])<<24 | uint32(b[1])<<16 | uint32(b[2])<<8 | uint32(b[3]))
}

// next returns the following frame. ok is false at the end.
func (s *mp3Scanner) next() (f mp3Frame, ok bool) {
	from := s.pos
	for ; s.pos+4 <= s.end; s.pos++ {
		h := s.header(s.pos)
		n := h.size()
		if n == 0 || s.first != 0 && !h.same(s.first) {
			continue
		}
		if s.pos+n > s.end {
			if s.pos == from {
				s.cut = true
				break
			}
			continue
		}
		// Out of step, a header must be followed by another or the end.
		if s.pos != from {
			if next := s.pos + n; next+4 <= s.end && !s.header(next).same(h) {
				continue
			}
			s.gapAt, s.gap = from, s.pos-from
		}
		if s.first == 0 {
			s.first = h
		}
		f = mp3Frame{s.pos, n, h}
		s.pos += n
		return f, true
	}
	if !s.cut && s.end > from {
		s.gapAt, s.gap = from, s.end-from
	}
	s.pos = s.end
	return f, false
}
