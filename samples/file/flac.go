package file

import (
	"bufio"
	"crypto/md5"
	"errors"
	"fmt"
	"hash"
	"io"

	"github.com/mewkiz/flac"

	"tachbench/samples"
)

// FLAC (RFC 9639) speaker masks by channel count, section 9.1.3; mono and
// stereo are left open, as a plain WAV leaves them.
var flacMasks = [9]uint32{3: 0x7, 4: 0x33, 5: 0x37, 6: 0x3F, 7: 0x70F, 8: 0x63F}

// flacReader decodes frame by frame with mewkiz/flac.
//
// The library takes two things from the frame header alone although the
// format lets them stand in the stream header only: bit depth and, with it,
// the sample width. So frames are read in two steps here, and the depth
// filled in between. It does not check the MD5 of the sound; that is done
// here and a difference is a warning, because every frame has passed its own
// checksum by then.
type flacReader struct {
	blocks
	stream *flac.Stream
	depth  uint8
	sum    hash.Hash
	bytes  []byte
	planar [][]float64
}

func openFLAC(r io.ReaderAt, start, size int64) (codec, error) {
	tags, err := flacTags(r, start, size)
	if err != nil {
		return nil, err
	}
	f := &flacReader{sum: md5.New()}
	err = shield("flac", func() (err error) {
		f.stream, err = flac.New(bufio.NewReaderSize(io.NewSectionReader(r, start, size-start), 64<<10))
		return err
	})
	if err != nil {
		return nil, &BrokenError{"flac", start, err.Error()}
	}
	si := f.stream.Info
	channels := int(si.NChannels)
	switch {
	case si.SampleRate == 0:
		return nil, &BrokenError{"flac", start + 18, "the header promises a sample rate of 0 Hz"}
	case channels < 1 || channels > 8:
		return nil, &BrokenError{"flac", start + 20, fmt.Sprintf("the header promises %d channels", channels)}
	case si.BitsPerSample < 4 || si.BitsPerSample > 32:
		return nil, &BrokenError{"flac", start + 20, fmt.Sprintf("the header promises %d bits a sample", si.BitsPerSample)}
	case si.NSamples > 1<<36:
		return nil, &BrokenError{"flac", start + 21, fmt.Sprintf("the header promises %d frames", si.NSamples)}
	}
	f.depth = si.BitsPerSample
	f.info = samples.Info{
		Format: "flac", RateHz: int(si.SampleRate), Channels: channels, BitDepth: int(f.depth),
		Mask: flacMasks[channels], Frames: int64(si.NSamples), Tags: tags,
	}
	f.promised, f.atMost = int64(si.NSamples), int64(si.NSamples)
	if si.NSamples == 0 { // unknown
		f.info.Frames, f.atMost = -1, -1
		f.warn(start+21, "the header does not say how long the sound is")
	}
	f.next, f.finished = f.decode, f.verify
	f.planar = make([][]float64, channels)
	return f, nil
}

// flacTags walks the metadata blocks, held against the size of the file, and
// returns the comments.
func flacTags(r io.ReaderAt, start, size int64) (map[string]string, error) {
	tags := map[string]string{}
	pos := start + 4
	for first := true; ; first = false {
		if pos+4 > size {
			return nil, &BrokenError{"flac", size, "the file ends within the metadata"}
		}
		h, err := bytesAt(r, pos, 4)
		if err != nil {
			return nil, err
		}
		kind, n := h[0]&0x7F, int64(h[1])<<16|int64(h[2])<<8|int64(h[3])
		if first && (kind != 0 || n != 34) {
			return nil, &BrokenError{"flac", pos, "the first metadata block is not a stream header of 34 bytes"}
		}
		if pos+4+n > size {
			return nil, &BrokenError{"flac", pos, fmt.Sprintf("a metadata block claims %d bytes, %d are left in the file", n, size-pos-4)}
		}
		if kind == 4 && len(tags) == 0 {
			b, err := bytesAt(r, pos+4, min(n, maxCommentBytes))
			if err != nil {
				return nil, err
			}
			tags = parseComments(b)
		}
		pos += 4 + n
		if h[0]&0x80 != 0 {
			return tags, nil
		}
	}
}

func (f *flacReader) decode() ([][]float64, error) {
	fr, err := f.stream.Next()
	if err != nil {
		return nil, err
	}
	if fr.BitsPerSample == 0 {
		fr.BitsPerSample = f.depth
	}
	if fr.BitsPerSample != f.depth || fr.Channels.Count() != f.info.Channels {
		return nil, fmt.Errorf("a block has %d channels of %d bits, the header says %d of %d",
			fr.Channels.Count(), fr.BitsPerSample, f.info.Channels, f.depth)
	}
	if fr.BlockSize == 0 {
		return nil, errors.New("a block of 65536 frames, which the decoder cannot take")
	}
	if err := fr.Parse(); err != nil {
		if errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		return nil, err
	}
	scale := 1 / float64(int64(1)<<(f.depth-1))
	for c, sub := range fr.Subframes {
		if len(sub.Samples) != int(fr.BlockSize) {
			return nil, fmt.Errorf("a block of %d frames has %d in channel %d", fr.BlockSize, len(sub.Samples), c)
		}
		if cap(f.planar[c]) < len(sub.Samples) {
			f.planar[c] = make([]float64, len(sub.Samples))
		}
		f.planar[c] = f.planar[c][:len(sub.Samples)]
		for i, v := range sub.Samples {
			f.planar[c][i] = float64(v) * scale
		}
	}
	// RFC 9639 section 8.2: MD5 over the interleaved samples, little-endian,
	// in whole bytes.
	width := (int(f.depth) + 7) / 8
	f.bytes = f.bytes[:0]
	for i := range int(fr.BlockSize) {
		for _, sub := range fr.Subframes {
			for v, k := sub.Samples[i], 0; k < width; k++ {
				f.bytes = append(f.bytes, byte(v>>(8*k)))
			}
		}
	}
	f.sum.Write(f.bytes)
	return f.planar, nil
}

func (f *flacReader) verify() {
	want := f.stream.Info.MD5sum
	if want == [16]byte{} || f.promised == 0 {
		return
	}
	if got := [16]byte(f.sum.Sum(nil)); got != want {
		f.warn(26, "the decoded sound has another MD5 than the header: it was changed after it was made, or runs on")
	}
}
