package band

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/samples"
)

// Range of what can be measured.
const (
	MinRateHz   = 8000
	MaxRateHz   = 192000
	MaxChannels = 16
)

// overlap is the part of a frame that its neighbour shares on each side. Half
// costs half again as much time as a quarter would, but a flatter window leaks
// more into quiet bands beside loud ones.
const overlap = 1.0 / 2

// Meter averages the spectrum of one stream. Make one with New for each
// stream. Its memory depends on the rate and the channels, not on the length:
// 0.4 MB a channel at 48 kHz.
type Meter struct {
	rateHz int
	size   int       // frame length
	flank  []float64 // rising flank of the window
	chans  []channel
	fft    *fourier.FFT
	work   []float64
	bins   []complex128
	frames int64
}

type channel struct {
	buf   []float64 // the frame being filled
	fill  int
	power []float64 // sum over the frames of each bin's energy
}

// New returns a meter for a stream.
func New(rateHz, channels int) (*Meter, error) {
	if rateHz < MinRateHz || rateHz > MaxRateHz {
		return nil, fmt.Errorf("band: sample rate %d Hz; can be %d to %d Hz", rateHz, MinRateHz, MaxRateHz)
	}
	if channels < 1 || channels > MaxChannels {
		return nil, fmt.Errorf("band: %d channels; can be 1 to %d", channels, MaxChannels)
	}
	m := &Meter{rateHz: rateHz, size: frameSize(rateHz), chans: make([]channel, channels)}
	m.flank = make([]float64, int(overlap*float64(m.size)))
	for i := range m.flank {
		m.flank[i] = math.Sin(math.Pi / 2 * (float64(i) + 0.5) / float64(len(m.flank)))
	}
	for c := range m.chans {
		// Silence goes before the sound, so that the first flank holds nothing.
		m.chans[c] = channel{buf: make([]float64, m.size), fill: len(m.flank), power: make([]float64, m.size/2+1)}
	}
	m.fft = fourier.NewFFT(m.size)
	m.work = make([]float64, m.size)
	m.bins = make([]complex128, m.size/2+1)
	return m, nil
}

// frameSize is the power of two that lasts 0.5 to 1 s.
func frameSize(rateHz int) int {
	n := 1
	for 2*n < rateHz {
		n *= 2
	}
	return n
}

// Write takes in the next frames: one slice per channel, all of equal length.
// The block is not kept and not changed. It panics when the shape is wrong.
func (m *Meter) Write(block [][]float64) {
	if len(block) != len(m.chans) {
		panic(fmt.Sprintf("band: block of %d channels for a meter of %d", len(block), len(m.chans)))
	}
	for _, ch := range block {
		if len(ch) != len(block[0]) {
			panic("band: channels of a block differ in length")
		}
	}
	for c := range m.chans {
		ch := &m.chans[c]
		for x := block[c]; len(x) > 0; {
			n := copy(ch.buf[ch.fill:], x)
			x = x[n:]
			if ch.fill += n; ch.fill == m.size {
				m.transform(ch.buf, ch.power)
				ch.fill = copy(ch.buf, ch.buf[m.size-len(m.flank):])
			}
		}
	}
	m.frames += int64(len(block[0]))
}

// transform adds the energy of one frame to power.
func (m *Meter) transform(frame, power []float64) {
	x := m.work
	if samples.FirstUnusable(frame) < 0 {
		copy(x, frame)
	} else {
		samples.Scrub(x, frame)
	}
	if !slices.ContainsFunc(x, func(v float64) bool { return v != 0 }) {
		return
	}
	last := len(x) - 1
	for i, g := range m.flank {
		x[i] *= g
		x[last-i] *= g
	}
	m.fft.Coefficients(m.bins, x)
	g := 2 / float64(m.size) // both sides of the spectrum
	for k, b := range m.bins {
		power[k] += g * (real(b)*real(b) + imag(b)*imag(b))
	}
	for _, k := range []int{0, m.size / 2} { // these two have one side only
		power[k] -= g / 2 * (real(m.bins[k])*real(m.bins[k]) + imag(m.bins[k])*imag(m.bins[k]))
	}
}

// Result returns the spectrum of each channel as if the sound ended here. It
// may be called at any time and changes nothing.
func (m *Meter) Result() []Spectrum {
	out := make([]Spectrum, len(m.chans))
	rest := make([]float64, m.size)
	for c, ch := range m.chans {
		power := append([]float64(nil), ch.power...)
		copy(rest, ch.buf[:ch.fill])
		clear(rest[ch.fill:])
		m.transform(rest, power)
		// What lies in the falling flank of that frame needs one more.
		tail := len(m.flank)
		copy(rest, rest[m.size-tail:])
		clear(rest[tail:])
		m.transform(rest, power)
		for k := range power {
			power[k] /= float64(max(1, m.frames))
		}
		out[c] = Spectrum{RateHz: m.rateHz, BinHz: float64(m.rateHz) / float64(m.size), Power: power}
	}
	return out
}
