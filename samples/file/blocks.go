package file

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"

	"tachbench/samples"
	"tachbench/samples/wav"
)

// maxIdle is how many times in a row a decoder may come back with nothing.
const maxIdle = 1 << 16

// blocks makes a codec of a decoder that yields sound in blocks of its own
// size. It is the leash: a panic becomes an error, a decoder without progress
// is stopped, and whatever ends the sound early becomes a TruncatedError.
type blocks struct {
	info samples.Info
	// next returns the following block, one slice a channel, valid until
	// the next call; possibly empty. io.EOF ends the sound.
	next func() ([][]float64, error)
	// finished, if set, is called once when the sound ended as promised.
	finished func()

	promised int64 // frames; 0 unknown
	skip     int64 // frames still to be dropped at the start
	atMost   int64 // frames to give; -1 all

	warnings []wav.Warning
	block    [][]float64
	got      int64
	done     error
}

func (b *blocks) Info() samples.Info {
	i := b.info
	i.Tags = maps.Clone(i.Tags)
	return i
}

func (b *blocks) Warnings() []wav.Warning { return slices.Clone(b.warnings) }

func (b *blocks) Close() error { return nil }

// warn keeps the first few oddities only.
func (b *blocks) warn(at int64, text string, args ...any) {
	if len(b.warnings) < 64 {
		b.warnings = append(b.warnings, wav.Warning{Where: at, Text: fmt.Sprintf(text, args...)})
	}
}

// Read implements samples.Reader. It panics if dst has the wrong shape.
func (b *blocks) Read(dst [][]float64) (int, error) {
	if len(dst) != b.info.Channels {
		panic(fmt.Sprintf("file: Read into %d channels of a file with %d", len(dst), b.info.Channels))
	}
	want := len(dst[0])
	for _, ch := range dst {
		if len(ch) != want {
			panic("file: Read into channels of different length")
		}
	}
	n := 0
	for n < want && b.fill() {
		k := min(want-n, len(b.block[0]))
		for c := range dst {
			copy(dst[c][n:n+k], b.block[c])
			b.block[c] = b.block[c][k:]
		}
		n += k
		b.got += int64(k)
	}
	if n == 0 && want > 0 {
		return 0, b.done
	}
	return n, nil
}

// fill makes sure that at least one frame waits in b.block.
func (b *blocks) fill() bool {
	for idle := 0; b.done == nil; idle++ {
		if b.atMost >= 0 && b.got >= b.atMost {
			b.end(io.EOF)
			break
		}
		if len(b.block) > 0 && len(b.block[0]) > 0 {
			return true
		}
		if idle > maxIdle {
			b.end(errors.New("the decoder makes no progress"))
			break
		}
		block, err := b.guarded()
		if err != nil {
			b.end(err)
			break
		}
		b.take(block)
	}
	return false
}

// take trims a block to what of it belongs to the sound.
func (b *blocks) take(block [][]float64) {
	b.block = append(b.block[:0], block...)
	for c, ch := range b.block {
		drop := min(b.skip, int64(len(ch)))
		ch = ch[drop:]
		if b.atMost >= 0 {
			ch = ch[:min(int64(len(ch)), b.atMost-b.got)]
		}
		b.block[c] = ch
	}
	if len(block) > 0 {
		b.skip -= min(b.skip, int64(len(block[0])))
	}
}

// guarded calls next and turns a panic into an error.
func (b *blocks) guarded() (block [][]float64, err error) {
	defer func() {
		if p := recover(); p != nil {
			block, err = nil, fmt.Errorf("the %s decoder failed: %v", b.info.Format, p)
		}
	}()
	return b.next()
}

func (b *blocks) end(err error) {
	switch {
	case err != io.EOF:
		if errors.Is(err, io.ErrUnexpectedEOF) {
			err = errors.New("the file ends within a block")
		}
		b.done = &samples.TruncatedError{Got: b.got, Promised: max(b.promised, 0), Where: err.Error()}
		if b.promised <= b.got {
			b.done.(*samples.TruncatedError).Promised = 0
		}
	case b.got < b.promised:
		b.done = &samples.TruncatedError{Got: b.got, Promised: b.promised, Where: "the file ends early"}
	default:
		b.done = io.EOF
		if b.finished != nil {
			b.finished()
		}
	}
}

// shield runs f, which calls foreign code, and turns a panic into an error.
func shield(format string, f func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = &BrokenError{Format: format, Text: fmt.Sprintf("the decoder failed: %v", p)}
		}
	}()
	return f()
}
