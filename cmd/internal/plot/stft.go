package plot

import (
	"math"

	"github.com/mjibson/go-dsp/window"
	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/floats"

	"tachbench/samples"
)

// grid is a picture of levels: columns of time, rows of frequency.
type grid struct {
	cols, rows int
	db         []float64 // [col*rows+row], row 0 at the top; dB re a sine of amplitude 1
}

// levels measures x on a grid with one column a window of win. Column c
// covers the cth part of the whole length, row r the rth part of axis from
// its top.
//
// Where a column is longer than half a window it shows the loudest of
// several windows half a window apart or closer, and where a row holds
// several bins it shows the loudest: nothing falls between two pixels. A
// sine of amplitude a shows 20·log10(a) (up to 1.4 dB less between bins),
// whatever the window's length.
func levels(x []float64, rateHz int, win windows, axis scale, rows int) grid {
	cols := len(win)
	g := grid{cols: cols, rows: rows, db: make([]float64, cols*rows)}
	analysers := map[int]*analyser{}
	perCol := float64(len(x)) / float64(cols)
	for c, n := range win {
		a := analysers[n]
		if a == nil {
			a = newAnalyser(n)
			analysers[n] = a
		}
		a.reset()
		inside := int(math.Ceil(perCol / (float64(n) / 2)))
		for k := range inside {
			centre := (float64(c) + (float64(k)+0.5)/float64(inside)) * perCol
			a.add(x, int(math.Round(centre))-n/2)
		}
		fillColumn(g.db[c*rows:(c+1)*rows], a.levels(), axis, float64(rateHz)/float64(len(a.buf)))
	}
	return g
}

// analyser measures spectra with one length of window.
type analyser struct {
	shape []float64
	fft   *fourier.FFT
	buf   []float64
	spec  []complex128
	power []float64 // the loudest so far, by bin
}

func newAnalyser(windowN int) *analyser {
	n := nextPow2(windowN)
	return &analyser{
		shape: hann(windowN),
		fft:   fourier.NewFFT(n),
		buf:   make([]float64, n),
		spec:  make([]complex128, n/2+1),
		power: make([]float64, n/2+1),
	}
}

func (a *analyser) reset() { clear(a.power) }

// add takes in the window that begins at frame from of x.
func (a *analyser) add(x []float64, from int) {
	cut(a.buf, x, from, a.shape)
	a.fft.Coefficients(a.spec, a.buf)
	for i, z := range a.spec {
		a.power[i] = math.Max(a.power[i], real(z)*real(z)+imag(z)*imag(z))
	}
}

// levels returns the loudest levels in dB. The slice is overwritten by the
// next use.
func (a *analyser) levels() []float64 {
	for i, p := range a.power {
		a.power[i] = samples.PowerDB(p)
	}
	return a.power
}

// hann returns a Hann window that gives a sine of amplitude 1 a line of
// height 1: half of a real sine lies at the negative frequency, so the
// weights add up to 2.
func hann(n int) []float64 {
	w := window.Hann(n)
	sum := floats.Sum(w)
	for i := range w {
		w[i] *= 2 / sum
	}
	return w
}

// cut writes the windowed frames from..from+len(win) of x to the front of
// dst and zeros behind; x is silent outside its ends.
func cut(dst, x []float64, from int, win []float64) {
	clear(dst)
	for i, w := range win {
		if j := from + i; j >= 0 && j < len(x) {
			dst[i] = x[j] * w
		}
	}
}

// fillColumn samples a spectrum in dB, bins binHz apart, at the rows of axis.
func fillColumn(dst, db []float64, axis scale, binHz float64) {
	rows := float64(len(dst))
	for r := range dst {
		lo := axis.value(1-float64(r+1)/rows) / binHz
		hi := axis.value(1-float64(r)/rows) / binHz
		first, last := int(math.Ceil(lo)), int(math.Floor(hi))
		v := between(db, axis.value(1-(float64(r)+0.5)/rows)/binHz)
		for i := first; i <= last && i < len(db); i++ {
			v = math.Max(v, db[i])
		}
		dst[r] = v
	}
}

// between interpolates db at a fractional bin; -Inf above the last bin.
func between(db []float64, bin float64) float64 {
	i := int(bin)
	switch {
	case i < 0 || i >= len(db):
		return math.Inf(-1)
	case i+1 == len(db) || math.IsInf(db[i], -1) || math.IsInf(db[i+1], -1):
		return db[i]
	}
	f := bin - float64(i)
	return db[i] + f*(db[i+1]-db[i])
}

// top returns the highest level of the grid, -Inf for silence.
func (g grid) top() float64 {
	top := math.Inf(-1)
	for _, v := range g.db {
		top = math.Max(top, v)
	}
	return top
}

func nextPow2(n int) int {
	p := 1
	for p < n {
		p *= 2
	}
	return p
}
