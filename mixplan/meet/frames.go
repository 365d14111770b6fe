package meet

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/analysis/band"
	"tachbench/mixplan/ear"
)

// stepTargetS is the frame step aimed at; the step is the power of two in
// samples that is nearest on a log scale.
const stepTargetS = 0.0213

// Bands of the three resolutions, indices as in package ear.
const (
	midFrom  = ear.SpeechFrom     // 160 Hz
	highFrom = ear.SpeechFrom + 7 // 800 Hz
)

// lowEvery is how many frames share one window of the lowest bands.
const lowEvery = 4

// StepFrames returns the frame step at a sample rate, in samples.
func StepFrames(rateHz int) int {
	return 1 << max(4, int(math.Round(math.Log2(stepTargetS*float64(rateHz)))))
}

// span is where a band lies among the bins of a transform: weight[i] belongs
// to bin first+i. A bin that an edge cuts is split in proportion.
type span struct {
	first  int
	weight []float64
}

// resolution is one window length.
type resolution struct {
	n        int
	fft      *fourier.FFT
	window   []float64
	squares  []float64 // running sum of the squared window, squares[n] = all
	from, to int       // bands
	spans    []span
	buf      []float64
	coeff    []complex128
}

func newResolution(rateHz, n, from, to int) *resolution {
	r := &resolution{n: n, fft: fourier.NewFFT(n), window: make([]float64, n), squares: make([]float64, n+1),
		from: from, to: to, buf: make([]float64, n), coeff: make([]complex128, n/2+1)}
	for i := range r.window {
		r.window[i] = math.Sin(math.Pi * (float64(i) + 0.5) / float64(n))
		r.squares[i+1] = r.squares[i] + r.window[i]*r.window[i]
	}
	binHz := float64(rateHz) / float64(n)
	for b := from; b < to; b++ {
		r.spans = append(r.spans, newSpan(b, binHz, n/2))
	}
	return r
}

func newSpan(b int, binHz float64, last int) span {
	lo, hi := ear.EdgesHz(b)
	first := int(math.Floor(lo/binHz + 0.5))
	s := span{first: first}
	for k := first; k <= last; k++ {
		left, right := (float64(k)-0.5)*binHz, (float64(k)+0.5)*binHz
		if left >= hi {
			break
		}
		s.weight = append(s.weight, (math.Min(right, hi)-math.Max(left, lo))/binHz)
	}
	return s
}

// add measures the window that is centred on sample centre of x and adds
// share times the mean square of each band to dst.
func (r *resolution) add(dst *ear.Levels, x []float64, centre int, share float64) {
	from := centre - r.n/2
	lo, hi := max(0, -from), min(r.n, len(x)-from)
	if hi <= lo {
		return
	}
	covered := r.squares[hi] - r.squares[lo]
	clear(r.buf[:lo])
	clear(r.buf[hi:])
	for i := lo; i < hi; i++ {
		r.buf[i] = x[from+i] * r.window[i]
	}
	r.fft.Coefficients(r.coeff, r.buf)
	scale := share * 2 / (float64(r.n) * covered)
	for i, s := range r.spans {
		sum := 0.0
		for j, w := range s.weight {
			c := r.coeff[s.first+j]
			sum += w * (real(c)*real(c) + imag(c)*imag(c))
		}
		dst[r.from+i] += sum * scale
	}
}

// Analyser measures sounds of one sample rate in short frames. It is reused
// from sound to sound and belongs to one goroutine.
type Analyser struct {
	rateHz, step   int
	high, mid, low *resolution
}

// NewAnalyser returns an analyser. It panics if the rate is outside 8 to
// 192 kHz, which the sound sheet does not allow.
func NewAnalyser(rateHz int) *Analyser {
	if rateHz < band.MinRateHz || rateHz > band.MaxRateHz {
		panic("meet: a rate outside 8 to 192 kHz")
	}
	step := StepFrames(rateHz)
	return &Analyser{rateHz: rateHz, step: step,
		high: newResolution(rateHz, step, highFrom, ear.Bands),
		mid:  newResolution(rateHz, 4*step, midFrom, highFrom),
		low:  newResolution(rateHz, 16*step, 0, midFrom),
	}
}

// StepS returns the frame step in seconds.
func (a *Analyser) StepS() float64 { return float64(a.step) / float64(a.rateHz) }

// Frames returns the mean square of each third octave in each frame, re full
// scale; frame i covers samples i·step to (i+1)·step, and the last one may be
// covered in part. x must hold usable samples only (samples.Scrub).
func (a *Analyser) Frames(x []float64) []ear.Levels {
	n := (len(x) + a.step - 1) / a.step
	out := make([]ear.Levels, n)
	for i := range out {
		at := i * a.step
		a.high.add(&out[i], x, at+a.step/4, 0.5)
		a.high.add(&out[i], x, at+3*a.step/4, 0.5)
		a.mid.add(&out[i], x, at+a.step/2, 1)
		if i%lowEvery == 0 {
			centre := min(at+lowEvery*a.step/2, (at+len(x))/2) // of what is left
			a.low.add(&out[i], x, centre, 1)
			continue
		}
		copy(out[i][:midFrom], out[i-i%lowEvery][:midFrom])
	}
	if rest := len(x) % a.step; rest > 0 {
		for b := range out[n-1] {
			out[n-1][b] *= float64(rest) / float64(a.step)
		}
	}
	return out
}
