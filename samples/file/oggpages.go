package file

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// Ogg pages (RFC 3533 section 6).
const (
	oggHeaderSize  = 27
	oggMaxPage     = oggHeaderSize + 255 + 255*255
	oggContinued   = 1
	oggFirst       = 2
	oggLast        = 4
	maxPacketBytes = 16 << 20
)

// oggPage is one page, its body in the reader's own memory.
type oggPage struct {
	at       int64 // byte offset in the file
	flags    byte
	granule  int64 // frames up to the last packet that ends here; -1 none does
	serial   uint32
	sequence uint32
	laces    []byte
	body     []byte
}

func (p *oggPage) size() int64 { return int64(oggHeaderSize + len(p.laces) + len(p.body)) }

// oggReader reads the packets of one logical stream, in one pass, each page
// against its checksum.
type oggReader struct {
	r      io.ReaderAt
	size   int64
	serial uint32
	pos    int64 // of the next page
	raw    []byte

	page     oggPage
	lace     int // next lace of page
	offset   int // where its bytes begin in the body
	packet   []byte
	begun    bool // a page of the stream was read
	expected uint32
	ended    bool // the page with the end mark was read
}

var errOggEnd = errors.New("the stream has no end mark")

// readPage reads the page at pos, of any stream. io.EOF says that the file
// ends exactly there.
func readPage(r io.ReaderAt, pos, size int64, raw []byte) (oggPage, error) {
	p := oggPage{at: pos}
	if pos >= size {
		return p, io.EOF
	}
	if size-pos < oggHeaderSize {
		return p, fmt.Errorf("the file ends within the page at byte %d", pos)
	}
	n := int(min(oggMaxPage, size-pos))
	if got, err := r.ReadAt(raw[:n], pos); got < n {
		if err == nil || err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		return p, bare(err)
	}
	raw = raw[:n]
	if string(raw[:4]) != "OggS" {
		return p, fmt.Errorf("no page begins at byte %d", pos)
	}
	if raw[4] != 0 {
		return p, fmt.Errorf("the page at byte %d is of version %d", pos, raw[4])
	}
	le := binary.LittleEndian
	p.flags, p.granule, p.serial, p.sequence = raw[5], int64(le.Uint64(raw[6:])), le.Uint32(raw[14:]), le.Uint32(raw[18:])
	laces := oggHeaderSize + int(raw[26])
	if laces > n {
		return p, fmt.Errorf("the file ends within the page at byte %d", pos)
	}
	p.laces = raw[oggHeaderSize:laces]
	end := laces
	for _, l := range p.laces {
		end += int(l)
	}
	if end > n {
		return p, fmt.Errorf("the file ends within the page at byte %d", pos)
	}
	p.body = raw[laces:end]
	want := le.Uint32(raw[22:])
	copy(raw[22:26], "\x00\x00\x00\x00")
	if oggCRC(raw[:end]) != want {
		return p, fmt.Errorf("the page at byte %d does not fit its checksum", pos)
	}
	return p, nil
}

// oggCRCTable is for the polynomial 0x04C11DB7, most significant bit first,
// start 0 (RFC 3533 section 6, field 7).
var oggCRCTable = func() (t [256]uint32) {
	for i := range t {
		c := uint32(i) << 24
		for range 8 {
			if c&(1<<31) != 0 {
				c = c<<1 ^ 0x04C11DB7
			} else {
				c <<= 1
			}
		}
		t[i] = c
	}
	return t
}()

func oggCRC(b []byte) uint32 {
	var c uint32
	for _, v := range b {
		c = c<<8 ^ oggCRCTable[byte(c>>24)^v]
	}
	return c
}

// turn reads the next page of our stream. io.EOF is a proper end.
func (o *oggReader) turn() error {
	for {
		if o.ended {
			return io.EOF
		}
		p, err := readPage(o.r, o.pos, o.size, o.raw)
		if err == io.EOF {
			return errOggEnd
		}
		if err != nil {
			return err
		}
		o.pos += p.size()
		if p.serial != o.serial {
			continue
		}
		if o.begun && p.sequence != o.expected {
			return fmt.Errorf("page %d follows page %d at byte %d: sound is missing between them", p.sequence, o.expected-1, p.at)
		}
		o.begun, o.expected, o.ended = true, p.sequence+1, p.flags&oggLast != 0
		o.page, o.lace, o.offset = p, 0, 0
		if p.flags&oggContinued == 0 && len(o.packet) > 0 {
			return fmt.Errorf("the packet before the page at byte %d has no end", p.at)
		}
		return nil
	}
}

// next returns the following packet, valid until the next call.
func (o *oggReader) next() ([]byte, error) {
	o.packet = o.packet[:0]
	for {
		for o.lace < len(o.page.laces) {
			l := int(o.page.laces[o.lace])
			if len(o.packet)+l > maxPacketBytes {
				return nil, fmt.Errorf("a packet of more than %d bytes ends beyond byte %d", maxPacketBytes, o.page.at)
			}
			o.packet = append(o.packet, o.page.body[o.offset:o.offset+l]...)
			o.lace++
			o.offset += l
			if l < 255 {
				return o.packet, nil
			}
		}
		if err := o.turn(); err != nil {
			return nil, err
		}
	}
}

// pageDone tells whether the packet last returned ended its page.
func (o *oggReader) pageDone() bool {
	for _, l := range o.page.laces[o.lace:] {
		if l < 255 {
			return false
		}
	}
	return true
}

// lastPage looks for the last whole page of the stream near the end of the
// file. ok is false if there is none.
func (o *oggReader) lastPage() (p oggPage, ok bool) {
	from := max(0, o.size-2*oggMaxPage)
	tail, err := bytesAt(o.r, from, o.size-from)
	if err != nil {
		return p, false
	}
	raw := make([]byte, oggMaxPage)
	tries := 0
	for i := len(tail) - oggHeaderSize; i >= 0 && tries < 64; i-- {
		if tail[i] != 'O' || string(tail[i:i+4]) != "OggS" {
			continue
		}
		tries++
		if q, err := readPage(o.r, from+int64(i), o.size, raw); err == nil && q.serial == o.serial && q.granule >= 0 {
			return q, true
		}
	}
	return p, false
}
