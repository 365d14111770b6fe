package file

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"tachbench/samples"
	"tachbench/samples/wav"
)

// MaxLoadSamples is the most Load takes into memory, counted over all
// channels: 2 GiB of float64, 46 minutes of 48 kHz stereo. A few kilobytes of
// FLAC can truthfully hold hours of silence.
const MaxLoadSamples = 1 << 28

// codec is what every format yields.
type codec interface {
	samples.Reader
	Warnings() []wav.Warning
}

// opened puts the path in front of a codec's errors and owns the file.
type opened struct {
	codec
	path string
	file io.Closer
	done error // what Read said last, if it said no
}

func (o *opened) Read(dst [][]float64) (int, error) {
	if o.done != nil {
		return 0, o.done
	}
	n, err := o.codec.Read(dst)
	if err != nil {
		if err != io.EOF {
			err = fmt.Errorf("%s: %w", o.path, err)
		}
		o.done = err
	}
	return n, err
}

func (o *opened) Close() error {
	if o.file == nil {
		return nil
	}
	f := o.file
	o.file = nil
	return f.Close()
}

// Warnings returns the oddities met so far in a file opened by this package:
// lying sizes, missing pad bytes, bytes that belong to nothing, a checksum
// that does not fit. Some are known only once the last frame was read. Nil
// for other readers.
func Warnings(r samples.Reader) []wav.Warning {
	if w, ok := r.(interface{ Warnings() []wav.Warning }); ok {
		return w.Warnings()
	}
	return nil
}

// Open opens the sound file at path for streaming. The error is one line that
// begins with the path; errors.As finds *wav.FormatError,
// *wav.UnsupportedError, *BrokenError and *UnsupportedError in it, errors.Is
// finds ErrNotSound, fs.ErrNotExist and fs.ErrPermission.
func Open(path string) (samples.Reader, error) {
	// Stat first: opening a pipe would wait for its writer.
	st, err := os.Stat(path)
	if err != nil {
		return nil, openError(path, err)
	}
	if st.IsDir() {
		return nil, fmt.Errorf("%s: is a folder, a sound file is wanted", path)
	}
	if !st.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: is not a regular file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, openError(path, err)
	}
	r, err := OpenReader(path, f, st.Size())
	if err != nil {
		_ = f.Close()
		return nil, err
	}
	r.(*opened).file = f
	return r, nil
}

func openError(path string, err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s: %w", path, fs.ErrNotExist)
	}
	return fmt.Errorf("%s: %w", path, bare(err))
}

// OpenReader is Open for sound that is not a file of its own. The name stands
// in front of errors. Closing the result does not close r.
func OpenReader(name string, r io.ReaderAt, size int64) (samples.Reader, error) {
	c, err := openCodec(r, size)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return &opened{codec: c, path: name}, nil
}

// Load reads the whole sound file at path. If it breaks off, the good part
// comes back together with a *samples.TruncatedError inside the error, and
// Info.Frames is what was read; the sound is nil only if nothing could be
// opened. Sounds beyond MaxLoadSamples are refused.
func Load(path string) (*samples.Sound, samples.Info, error) {
	r, err := Open(path)
	if err != nil {
		return nil, samples.Info{}, err
	}
	s, err := readAll(path, r)
	info := r.Info()
	if s != nil {
		info.Frames = int64(s.Frames())
	}
	if closeErr := r.Close(); err == nil && closeErr != nil {
		err = fmt.Errorf("%s: %w", path, bare(closeErr))
	}
	return s, info, err
}

const loadBlock = 1 << 14

func readAll(path string, r samples.Reader) (*samples.Sound, error) {
	info := r.Info()
	limit := int64(MaxLoadSamples / info.Channels)
	tooLong := func() error {
		return fmt.Errorf("%s: longer than %d samples, too long to be held in memory", path, MaxLoadSamples)
	}
	if info.Frames > limit {
		return nil, tooLong()
	}
	s := &samples.Sound{RateHz: info.RateHz, Mask: info.Mask, Chans: make([][]float64, info.Channels)}
	// Only a WAV's frame count was checked against the file; the others
	// promise, and are believed block by block.
	room := int64(loadBlock)
	if info.Format == "wav" {
		room = info.Frames + 1 // and one so that the end is met without growing
	}
	for c := range s.Chans {
		s.Chans[c] = make([]float64, 0, room)
	}
	dst := make([][]float64, info.Channels)
	for {
		n := len(s.Chans[0])
		if int64(n) > limit {
			return nil, tooLong()
		}
		if n == cap(s.Chans[0]) {
			for c, ch := range s.Chans {
				grown := make([]float64, n, n+max(loadBlock, n/2))
				copy(grown, ch)
				s.Chans[c] = grown
			}
		}
		for c, ch := range s.Chans {
			dst[c] = ch[n:min(cap(ch), n+loadBlock)]
		}
		got, err := r.Read(dst)
		for c := range s.Chans {
			s.Chans[c] = s.Chans[c][:n+got]
		}
		if err == io.EOF {
			return s, nil
		}
		if err != nil {
			return s, err
		}
	}
}
