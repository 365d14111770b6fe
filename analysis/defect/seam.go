package defect

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/samples"
)

// A loop is judged at its seam by its own measure: the step from its end to its
// start must not be larger than what happens inside the loop anyway. Only the
// sound next to the seam is kept; the inside is reduced block by block.
const (
	seamLoops    = 4     // loops of a file that are judged
	seamBlockS   = 0.085 // sound on each side, rounded to a power of two
	seamSmallest = 128   // samples on each side, at least
	seamSilentDB = -66.0
	seamLowestDB = -120.0 // stands for silence
	seamInside   = 1.3    // the step must be so far over the largest one inside
	seamBandDB   = 40.0   // octaves that far under the loudest one do not count
	seamLowHz    = 125
	seamPeriodic = 0.9 // correlation from cycle to cycle that makes a cycle
	seamMatch    = 0.85
	seamGain     = 0.1
	seamClickMin = 0.01 // -40 dBFS
)

// A long loop is followed block by block at first, then two blocks of four.
const (
	cutDense = 64
	cutEvery = 4
)

// seam is one loop while it streams past.
type seam struct {
	index      int   // in Info.Loops; -1 for the whole file
	start, end int64 // end -1: the end of the file
	block      int
	head, tail [][]float64 // per channel; tail only when the end is known
	cut        *blockCutter
}

// tail keeps the newest samples of each channel, for a loop that ends where the
// file ends. nil when there is none.
type tail struct {
	ring [][]float64
	at   int
}

func (t *tail) process(views [][]float64) {
	if t == nil {
		return
	}
	n := len(t.ring[0])
	for c, x := range views {
		at := t.at
		if len(x) > n {
			at = (at + len(x) - n) % n
			x = x[len(x)-n:]
		}
		k := copy(t.ring[c][at:], x)
		copy(t.ring[c], x[k:])
	}
	t.at = (t.at + len(views[0])) % n
}

// newest copies the last n samples of each channel.
func (t *tail) newest(n int) [][]float64 {
	out := make([][]float64, len(t.ring))
	size := len(t.ring[0])
	for c, r := range t.ring {
		x := make([]float64, n)
		for i := range x {
			x[i] = r[(t.at-n+i+2*size)%size]
		}
		out[c] = x
	}
	return out
}

func newSeams(info samples.Info, opt Options) ([]*seam, *tail) {
	block := seamSmallest
	for float64(block)*1.5 < seamBlockS*float64(info.RateHz) {
		block *= 2
	}
	make2 := func() [][]float64 {
		m := make([][]float64, info.Channels)
		for c := range m {
			m[c] = make([]float64, block)
		}
		return m
	}
	if opt.WholeLoop && len(info.Loops) == 0 {
		s := &seam{index: -1, end: -1, block: block, head: make2(), cut: newBlockCutter(block, info)}
		return []*seam{s}, &tail{ring: make2()}
	}
	var out []*seam
	for i, l := range info.Loops {
		if len(out) == seamLoops {
			break
		}
		if l.Start < 0 || l.End-l.Start < 4*seamSmallest {
			continue
		}
		b := block
		for int64(4*b) > l.End-l.Start {
			b /= 2
		}
		s := &seam{index: i, start: l.Start, end: l.End, block: b, head: make2(), tail: make2(), cut: newBlockCutter(b, info)}
		out = append(out, s)
	}
	return out, nil
}

// process keeps what of the chunk at frame pos lies next to the seam and hands
// the inside to the block cutter.
func (s *seam) process(views [][]float64, pos int64) {
	n := int64(len(views[0]))
	for c, x := range views {
		keep(s.head[c][:s.block], s.start, x, pos)
		if s.end >= 0 {
			keep(s.tail[c][:s.block], s.end-int64(s.block), x, pos)
		}
	}
	from, to := max(s.start-pos, 0), n
	if s.end >= 0 {
		to = min(s.end-pos, n)
	}
	if from < to {
		s.cut.process(views, int(from), int(to))
	}
}

// keep copies the part of x, which starts at frame pos, that falls into dst,
// which starts at frame at.
func keep(dst []float64, at int64, x []float64, pos int64) {
	from, to := max(at, pos), min(at+int64(len(dst)), pos+int64(len(x)))
	if from < to {
		copy(dst[from-at:to-at], x[from-pos:to-pos])
	}
}

// blockCutter cuts sound into blocks and follows how level and colour change
// from one to the next.
type blockCutter struct {
	fft    *fourier.FFT
	window []float64
	mono   []float64
	fill   int
	work   []float64
	coef   []complex128
	rateHz float64
	prev   colour
	blocks int
	paired bool // prev is the block right before
	// the largest steps between neighbours
	levelStep, colourStep float64
}

// colour is the level of a block and of its octaves, in dB.
type colour struct {
	level   float64
	octaves [12]float64
	n       int
}

func newBlockCutter(block int, info samples.Info) *blockCutter {
	b := &blockCutter{
		fft: fourier.NewFFT(block), window: make([]float64, block), mono: make([]float64, block), work: make([]float64, block),
		coef: make([]complex128, block/2+1), rateHz: float64(info.RateHz),
	}
	for i := range b.window {
		b.window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(block))
	}
	return b
}

func (b *blockCutter) process(views [][]float64, from, to int) {
	for from < to {
		n := min(to-from, len(b.mono)-b.fill)
		mix(b.mono[b.fill:b.fill+n], views, from)
		b.fill += n
		from += n
		if b.fill == len(b.mono) {
			b.fill = 0
			b.blocks++
			if b.blocks > cutDense && b.blocks%cutEvery > 1 {
				b.paired = false
				continue
			}
			next := b.measure(b.mono)
			if b.paired {
				b.levelStep = max(b.levelStep, math.Abs(next.level-b.prev.level))
				b.colourStep = max(b.colourStep, distance(next, b.prev))
			}
			b.prev, b.paired = next, true
		}
	}
}

// mix writes the mean of the channels to dst.
func mix(dst []float64, chans [][]float64, from int) {
	g := 1 / float64(len(chans))
	for i := range dst {
		v := 0.0
		for _, x := range chans {
			v += x[from+i]
		}
		dst[i] = g * v
	}
}

func (b *blockCutter) measure(x []float64) colour {
	c := colour{level: max(samples.AmplitudeDB(samples.RMS(x)), seamLowestDB)}
	for i, w := range b.window {
		b.work[i] = x[i] * w
	}
	b.coef = b.fft.Coefficients(b.coef, b.work)
	binHz := b.rateHz / float64(len(x))
	for f := float64(seamLowHz); f < 0.35*b.rateHz && c.n < len(c.octaves); f *= 2 {
		lo, hi := int(math.Ceil(f/math.Sqrt2/binHz)), int(f*math.Sqrt2/binHz)
		if hi-lo < 3 {
			continue
		}
		p := 0.0
		for k := lo; k <= min(hi, len(b.coef)-1); k++ {
			p += real(b.coef[k])*real(b.coef[k]) + imag(b.coef[k])*imag(b.coef[k])
		}
		c.octaves[c.n] = max(samples.PowerDB(p), seamLowestDB)
		c.n++
	}
	return c
}

// distance is the mean magnitude of the octave level differences that are left
// when the difference of the whole is taken out.
func distance(a, b colour) float64 {
	top := math.Inf(-1)
	for i := range a.n {
		top = max(top, a.octaves[i], b.octaves[i])
	}
	var mean, n float64
	counts := func(i int) bool { return max(a.octaves[i], b.octaves[i]) > top-seamBandDB }
	for i := range a.n {
		if counts(i) {
			mean += a.octaves[i] - b.octaves[i]
			n++
		}
	}
	if n < 2 {
		return 0
	}
	mean /= n
	var d float64
	for i := range a.n {
		if counts(i) {
			d += math.Abs(a.octaves[i]-b.octaves[i]-mean) / n
		}
	}
	return d
}
