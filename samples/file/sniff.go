package file

import (
	"bytes"
	"errors"
	"io"

	"tachbench/samples/wav"
)

// openCodec decides by the first bytes.
func openCodec(r io.ReaderAt, size int64) (codec, error) {
	if size == 0 {
		return nil, errors.New("the file is empty")
	}
	head, err := bytesAt(r, 0, min(size, 16))
	if err != nil {
		return nil, err
	}
	switch {
	case bytes.HasPrefix(head, []byte("RIFF")), bytes.HasPrefix(head, []byte("RF64")),
		bytes.HasPrefix(head, []byte("BW64")), bytes.HasPrefix(head, []byte("RIFX")):
		return wav.Open(r, size)
	case bytes.HasPrefix(head, []byte("OggS")):
		return openVorbis(r, size)
	}
	// ID3v2 is meant for MP3 but is met in front of FLAC as well.
	start := int64(0)
	for range 4 {
		n, err := id3Size(r, start, size)
		if err != nil {
			return nil, err
		}
		if n == 0 {
			break
		}
		start += n
	}
	head, err = bytesAt(r, start, min(size-start, 4))
	if err != nil {
		return nil, err
	}
	if string(head) == "fLaC" {
		return openFLAC(r, start, size)
	}
	c, err := openMP3(r, start, size)
	if err == nil && c == nil {
		return nil, ErrNotSound
	}
	return c, err
}

// id3Size returns the size of an ID3v2 tag at off, held within the file, or 0
// if there is none. The size has seven bits a byte (ID3v2.4.0 section 3.1).
func id3Size(r io.ReaderAt, off, size int64) (int64, error) {
	if size-off < 10 {
		return 0, nil
	}
	h, err := bytesAt(r, off, 10)
	if err != nil || string(h[:3]) != "ID3" {
		return 0, err
	}
	n := int64(10)
	if h[5]&0x10 != 0 {
		n += 10 // footer
	}
	for i, c := range h[6:] {
		n += int64(c&0x7F) << (7 * (3 - i))
	}
	return min(n, size-off), nil
}

// bytesAt reads exactly n bytes at off, which the caller knows to lie within
// the file.
func bytesAt(r io.ReaderAt, off, n int64) ([]byte, error) {
	b := make([]byte, n)
	if got, err := r.ReadAt(b, off); int64(got) < n {
		if err == nil || err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		return nil, bare(err)
	}
	return b, nil
}
