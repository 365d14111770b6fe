package ear

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"gonum.org/v1/gonum/dsp/fourier"
)

// HallNoise makes the hall's noise for headphones: steady Gaussian noise with
// the hall's spectrum, at the level it has beside the machine. A sound that
// went through [Cabinet] and this noise stand in the same ratio as their dB
// SPL at the ear. Scale both by one common gain for the headphones; a loud
// hall beside a soft machine lies over full scale before that.
//
// The same chain, rate and seed give the same samples, however they are read.
// Two channels want two seeds. Not for concurrent use.
type HallNoise struct {
	rng      *rand.Rand
	fft      *fourier.FFT
	shape    []complex128 // spectrum of the filter, scaled for the transform
	taps     int
	white    []float64 // taps-1 old samples and a block of new ones
	spectrum []complex128
	block    []float64
	ready    []float64 // rest of the block not yet read
}

const (
	shapeStepHz  = 6    // frequency step of the noise filter, at most
	outsideSlope = 96.0 // dB per octave at which the noise ends beyond its bands
	fitRounds    = 12
)

// NewHallNoise returns the noise of the chain's hall. Bands that reach over
// half the rate are left out. It panics if rateHz is not positive.
func (c *Chain) NewHallNoise(rateHz int, seed uint64) *HallNoise {
	if rateHz <= 0 {
		panic("ear: NewHallNoise: sample rate must be positive")
	}
	h := shapeFilter(c.Hall.Plus(-c.FullScaleDB), rateHz)
	n := 4 * len(h)
	g := &HallNoise{
		rng:   rand.New(rand.NewPCG(seed, 0x4a11)),
		fft:   fourier.NewFFT(n),
		taps:  len(h),
		white: make([]float64, n),
		block: make([]float64, n),
	}
	padded := make([]float64, n)
	for i, v := range h {
		padded[i] = v / float64(n)
	}
	g.shape = g.fft.Coefficients(nil, padded)
	g.spectrum = make([]complex128, len(g.shape))
	for i := range g.white {
		g.white[i] = g.rng.NormFloat64()
	}
	return g
}

// Read fills dst.
func (g *HallNoise) Read(dst []float64) {
	for len(dst) > 0 {
		if len(g.ready) == 0 {
			g.next()
		}
		n := copy(dst, g.ready)
		g.ready, dst = g.ready[n:], dst[n:]
	}
}

// next makes a block by fast convolution, overlap-save.
func (g *HallNoise) next() {
	g.fft.Coefficients(g.spectrum, g.white)
	for k, v := range g.shape {
		g.spectrum[k] *= v
	}
	g.fft.Sequence(g.block, g.spectrum)
	g.ready = g.block[g.taps-1:]
	copy(g.white, g.white[len(g.white)-g.taps+1:])
	for i := g.taps - 1; i < len(g.white); i++ {
		g.white[i] = g.rng.NormFloat64()
	}
}

// shapeFilter returns a linear-phase FIR filter that turns white noise of RMS
// 1 into noise with the given band levels in dBFS. The spectrum runs straight
// between the bands' middles in dB over log frequency and ends steeply; it is
// then corrected, band by band, until the filter that comes out has the power
// it should.
func shapeFilter(want Levels, rateHz int) []float64 {
	n := 256
	for float64(rateHz)/float64(n) > shapeStepHz {
		n *= 2
	}
	strongest, from, to := math.Inf(-1), Bands, 0
	for b, db := range want {
		if _, hi := EdgesHz(b); hi <= float64(rateHz)/2 && !math.IsInf(db, -1) {
			strongest, from, to = max(strongest, db), min(from, b), b+1
		}
	}
	if to == 0 {
		return make([]float64, n)
	}
	// White noise of RMS 1 has the density 2/rate per hertz.
	node := want
	for b := from; b < to; b++ {
		lo, hi := EdgesHz(b)
		node[b] -= 10 * math.Log10(2*(hi-lo)/float64(rateHz))
	}
	var h []float64
	for range fitRounds {
		h = linearPhase(func(hz float64) float64 { return density(&node, from, to, hz) }, n, rateHz)
		got := powers(h, rateHz)
		for b := from; b < to; b++ {
			// A band far under its neighbours is filled by them; pushing its
			// node down further would only bend the others.
			if want[b] >= strongest-matterDB {
				node[b] += want[b] - got[b]
			}
		}
	}
	return h
}

// density is the node levels read at a frequency.
func density(node *Levels, from, to int, hz float64) float64 {
	x := 17 + 10*math.Log10(hz/1000) // band number, fractional
	const perBand = outsideSlope / 3.0103
	switch first, last := float64(from)-0.5, float64(to)-0.5; {
	case x < first:
		return node[from] - (first-x)*perBand
	case x > last:
		return node[to-1] - (x-last)*perBand
	}
	x = min(max(x, float64(from)), float64(to-1))
	b := min(int(x), max(to-2, from))
	if b+1 >= to {
		return node[b]
	}
	return node[b] + (node[b+1]-node[b])*(x-float64(b))
}

// linearPhase returns a FIR filter of n taps, symmetric about n/2, with a
// magnitude in dB over frequency, by frequency sampling under a Hann window.
func linearPhase(db func(hz float64) float64, n, rateHz int) []float64 {
	spectrum := make([]complex128, n/2+1)
	for k := 1; k < len(spectrum); k++ {
		m := math.Pow(10, db(float64(k)*float64(rateHz)/float64(n))/20)
		spectrum[k] = complex(m*float64(1-2*(k&1)), 0) // the sign moves the middle to n/2
	}
	h := fourier.NewFFT(n).Sequence(nil, spectrum)
	for i := range h {
		h[i] *= (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))) / float64(n)
	}
	return h
}

// powers returns the band levels in dBFS of white noise of RMS 1 through a
// FIR filter: the sum of |H|² over the band's share of the frequency axis.
func powers(h []float64, rateHz int) Levels {
	n := 4 * len(h)
	padded := make([]float64, n)
	copy(padded, h)
	return binLevels(fourier.NewFFT(n).Coefficients(nil, padded), rateHz)
}

// binLevels gives band levels of a one-sided spectrum of n/2+1 lines, of which
// each stands for 2/n of the power; lines on an edge count by halves.
func binLevels(spectrum []complex128, rateHz int) Levels {
	n := 2 * (len(spectrum) - 1)
	step := float64(rateHz) / float64(n)
	var l Levels
	for b := range l {
		lo, hi := EdgesHz(b)
		var sum float64
		for k := max(int(lo/step-0.5), 0); k < len(spectrum) && (float64(k)-0.5)*step < hi; k++ {
			share := min((float64(k)+0.5)*step, hi) - max((float64(k)-0.5)*step, lo)
			if share > 0 {
				m := cmplx.Abs(spectrum[k])
				sum += m * m * share / step
			}
		}
		l[b] = 10 * math.Log10(2*sum/float64(n))
	}
	return l
}
