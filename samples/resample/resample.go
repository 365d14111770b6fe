package resample

import (
	"fmt"

	"tachbench/samples"
)

// chunk is how many input frames are taken in at a time. It has no influence
// on the result.
const chunk = 1024

// Resampler converts a stream. It keeps the state of one stream and is not
// safe for concurrent use.
type Resampler struct {
	f        *filter // nil: the rates are equal
	channels int

	// buf holds, for every channel, the input frames at-half+1 .. at-half+fill
	// of the stream; frames before the start are silence.
	buf  [][]float64
	fill int

	// The next output frame lies at input frame at + phase/up. pos is the
	// index in buf of the first frame its filter row covers.
	pos   int
	phase int

	in, out int64 // frames taken and given since the start
	limit   int64 // frames the whole stream will give, once Flush was called; else -1
}

// New returns a Resampler at the start of a stream. It panics if Check
// refuses the rates, if channels is not positive, or if an option is out of
// range.
func New(fromHz, toHz, channels int, o Options) *Resampler {
	if err := Check(fromHz, toHz); err != nil {
		panic("resample: " + err.Error())
	}
	if channels <= 0 {
		panic(fmt.Sprintf("resample: %d channels", channels))
	}
	o = o.withDefaults()
	r := &Resampler{channels: channels, limit: -1}
	if fromHz == toHz {
		return r
	}
	r.f = newFilter(fromHz, toHz, o)
	r.buf = make([][]float64, channels)
	for c := range r.buf {
		r.buf[c] = make([]float64, 2*r.f.half+chunk)
	}
	r.Reset()
	return r
}

// Reset starts a new stream with the same filter.
func (r *Resampler) Reset() {
	r.in, r.out, r.limit = 0, 0, -1
	r.pos, r.phase = 0, 0
	if r.f == nil {
		return
	}
	// The row of output frame 0 covers input frames -(half-1) .. half.
	r.fill = r.f.half - 1
	for c := range r.buf {
		clear(r.buf[c][:r.fill])
	}
}

// OutFrames returns the number of output frames that Process will write for
// inFrames more input frames if dst has room for them.
func (r *Resampler) OutFrames(inFrames int) int {
	if r.f == nil {
		return inFrames
	}
	room := r.fill + inFrames - 2*r.f.half - r.pos
	if room < 0 {
		return 0
	}
	// The largest k with (phase + k·down)/up, rounded down, within room.
	n := (int64(room)+1)*int64(r.f.up) - int64(r.phase)
	return int((n + int64(r.f.down) - 1) / int64(r.f.down))
}

// Process takes frames from the front of src and writes the frames that can
// be told by now to the front of dst; both hold one slice per channel, all of
// equal length, and must not overlap. It returns the frames taken and the
// frames written. Nothing past the written count is touched. If dst holds at
// least OutFrames(len(src[0])) frames, all of src is taken; else call again
// with the rest. The first output frame appears once half the length of the
// filter was taken in (84 frames by default going up, more going down).
//
// It panics on a wrong number of channels, on unequal lengths, and after
// Flush unless Reset was called.
func (r *Resampler) Process(dst, src [][]float64) (taken, written int) {
	r.check("destination", dst)
	r.check("source", src)
	if r.limit >= 0 {
		panic("resample: Process after Flush without Reset")
	}
	if r.f == nil {
		n := min(len(src[0]), len(dst[0]))
		for c := range dst {
			copy(dst[c][:n], src[c][:n])
		}
		r.in += int64(n)
		r.out += int64(n)
		return n, n
	}
	for {
		written += r.produce(dst, written, len(dst[0]))
		left := len(src[0]) - taken
		if left == 0 || r.ready() {
			return taken, written
		}
		n := min(left, r.makeRoom())
		for c := range src {
			copy(r.buf[c][r.fill:], src[c][taken:taken+n])
		}
		r.fill += n
		r.in += int64(n)
		taken += n
	}
}

// Flush writes the end of the stream to dst as if silence followed, and
// returns the number of frames written. Call it until it returns 0: the
// stream has then given round(frames taken · to/from) frames in all.
func (r *Resampler) Flush(dst [][]float64) (written int) {
	r.check("destination", dst)
	if r.f == nil {
		r.limit = r.out
		return 0
	}
	if r.limit < 0 {
		r.limit = scaled(r.in, r.f.up, r.f.down)
	}
	want := int(min(int64(len(dst[0])), r.limit-r.out))
	for {
		written += r.produce(dst, written, want)
		if written == want {
			return written
		}
		n := r.makeRoom()
		for c := range r.buf {
			clear(r.buf[c][r.fill : r.fill+n])
		}
		r.fill += n
	}
}

// produce writes output frames to dst[from:to] while their filter rows are
// covered by the buffer, and returns how many.
func (r *Resampler) produce(dst [][]float64, from, to int) int {
	f, n := r.f, from
	taps := 2 * f.half
	for n < to && r.ready() {
		if f.blend {
			at := int64(r.phase) * int64(f.phases)
			p := int(at / int64(f.up))
			w := float64(at%int64(f.up)) / float64(f.up)
			a, b := f.row(p), f.row(p+1)
			for c := range dst {
				x := r.buf[c][r.pos : r.pos+taps]
				y := dot(a, x)
				dst[c][n] = y + w*(dot(b, x)-y)
			}
		} else {
			a := f.row(r.phase)
			for c := range dst {
				dst[c][n] = dot(a, r.buf[c][r.pos:r.pos+taps])
			}
		}
		n++
		r.phase += f.down
		r.pos += r.phase / f.up
		r.phase %= f.up
	}
	r.out += int64(n - from)
	return n - from
}

// ready reports whether the buffer covers the next output frame.
func (r *Resampler) ready() bool { return r.pos+2*r.f.half <= r.fill }

// makeRoom drops the input frames no coming output needs and returns the room
// behind the rest, at least one chunk unless an output frame is ready.
func (r *Resampler) makeRoom() int {
	drop := min(r.pos, r.fill)
	for c := range r.buf {
		copy(r.buf[c], r.buf[c][drop:r.fill])
	}
	r.fill -= drop
	r.pos -= drop
	return len(r.buf[0]) - r.fill
}

func (r *Resampler) check(what string, x [][]float64) {
	if len(x) != r.channels {
		panic(fmt.Sprintf("resample: %s has %d channels, not %d", what, len(x), r.channels))
	}
	for _, ch := range x[1:] {
		if len(ch) != len(x[0]) {
			panic(fmt.Sprintf("resample: %s channels differ in length, %d and %d", what, len(x[0]), len(ch)))
		}
	}
}

// scaled returns round(n·up/down), halves up, without overflow for any
// length of sound.
func scaled(n int64, up, down int) int64 {
	u, d := int64(up), int64(down)
	return n/d*u + (n%d*u*2+d)/(2*d)
}

// Sound returns s at another rate, with the default Options, its speaker
// positions kept: round(frames·toHz/s.RateHz) frames, aligned in time with s.
// For equal rates it is s itself, not a copy. It panics if Check refuses the
// rates or s has no channels.
func Sound(s *samples.Sound, toHz int) *samples.Sound {
	if s.RateHz == toHz {
		return s
	}
	r := New(s.RateHz, toHz, s.Channels(), Options{})
	out := samples.NewSound(toHz, s.Channels(), int(scaled(int64(s.Frames()), r.f.up, r.f.down)))
	out.Mask = s.Mask
	// Process takes everything: what the filter holds back is room to spare.
	_, n := r.Process(out.Chans, s.Chans)
	tail := make([][]float64, len(out.Chans))
	for c := range tail {
		tail[c] = out.Chans[c][n:]
	}
	r.Flush(tail)
	return out
}
