package listen

import (
	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/mixplan/ear"
	"tachbench/samples"
)

// speaker is ear.Cabinet at a cost that fits beside everything else: a measured
// response may need filters of many thousand taps, which are too slow one by
// one. The first partFrames taps are done directly, so that nothing comes late;
// the others in parts of the same length by fast convolution (overlap-save,
// uniform partitions), each of which is needed one part later at the earliest.
type speaker struct {
	cabinet *ear.Cabinet // alone if its filter is short

	head []float64 // reversed
	past []float64 // partFrames-1 frames, then a part being filled
	fill int       // of the part

	fft    *fourier.FFT
	parts  [][]complex128 // spectra of the filter's other parts
	seen   [][]complex128 // of the last blocks of sound, a ring
	newest int
	block  []float64 // the last part and this one
	sum    []complex128
	tail   []float64 // what the other parts give to the part being filled
	work   []float64
}

// partFrames is the length of a part.
const partFrames = 256

func newSpeaker(chain *ear.Chain, rateHz int) *speaker {
	s := &speaker{cabinet: chain.NewCabinet(rateHz)}
	taps := s.cabinet.Taps()
	if taps <= partFrames {
		return s
	}
	n := (taps + partFrames - 1) / partFrames
	h := make([]float64, n*partFrames)
	h[0] = 1
	s.cabinet.Process(h[:taps]) // its answer to an impulse is the filter
	s.head = make([]float64, partFrames)
	for i, v := range h[:partFrames] {
		s.head[partFrames-1-i] = v
	}
	s.past = make([]float64, 2*partFrames-1)
	s.fft = fourier.NewFFT(2 * partFrames)
	s.block, s.work = make([]float64, 2*partFrames), make([]float64, 2*partFrames)
	s.sum, s.tail = make([]complex128, partFrames+1), make([]float64, partFrames)
	for p := 1; p < n; p++ {
		padded := make([]float64, 2*partFrames)
		for i, v := range h[p*partFrames : (p+1)*partFrames] {
			padded[i] = v / (2 * partFrames)
		}
		s.parts = append(s.parts, s.fft.Coefficients(nil, padded))
		s.seen = append(s.seen, make([]complex128, partFrames+1))
	}
	return s
}

// reset forgets the sound so far.
func (s *speaker) reset() {
	s.cabinet.Reset()
	s.fill = 0
	clear(s.past)
	clear(s.block)
	clear(s.tail)
	for _, x := range s.seen {
		clear(x)
	}
}

// process filters x in place. What is not usable as a sample is silence.
func (s *speaker) process(x []float64) {
	if s.head == nil {
		s.cabinet.Process(x)
		return
	}
	for len(x) > 0 {
		n := min(len(x), partFrames-s.fill)
		samples.Scrub(s.past[partFrames-1+s.fill:], x[:n])
		for i := range n {
			at := s.fill + i
			x[i] = dot(s.head, s.past[at:at+partFrames]) + s.tail[at]
		}
		x = x[n:]
		if s.fill += n; s.fill == partFrames {
			s.turn()
		}
	}
}

// turn ends a part: its spectrum joins the others, and the tail of the next
// one is made.
func (s *speaker) turn() {
	s.fill = 0
	copy(s.block, s.block[partFrames:])
	copy(s.block[partFrames:], s.past[partFrames-1:])
	copy(s.past, s.past[partFrames:])
	s.newest = (s.newest + 1) % len(s.seen)
	s.fft.Coefficients(s.seen[s.newest], s.block)
	clear(s.sum)
	for p, h := range s.parts {
		x := s.seen[(s.newest-p+len(s.seen))%len(s.seen)]
		multiply(s.sum, h, x)
	}
	s.fft.Sequence(s.work, s.sum)
	copy(s.tail, s.work[partFrames:])
}

// multiply adds h·x to sum.
func multiply(sum, h, x []complex128) {
	h, x = h[:len(sum)], x[:len(sum)]
	for i := range sum {
		a, b := h[i], x[i]
		sum[i] += complex(real(a)*real(b)-imag(a)*imag(b), real(a)*imag(b)+imag(a)*real(b))
	}
}

// dot is Σ h·x over partFrames, in four sums so that the additions overlap.
func dot(h, x []float64) float64 {
	x = x[:len(h)]
	var a, b, c, d float64
	for i := 0; i+4 <= len(h); i += 4 {
		a += h[i] * x[i]
		b += h[i+1] * x[i+1]
		c += h[i+2] * x[i+2]
		d += h[i+3] * x[i+3]
	}
	return (a + b) + (c + d)
}
