package ear

import (
	"math"

	"tachbench/samples"
)

// Cabinet plays sound through the cabinet speaker, for listening on
// headphones: a minimum-phase filter with the cabinet's response and no delay
// beyond the speaker's own. It streams; the result does not depend on how the
// sound is cut into blocks. Not for concurrent use.
//
// The response is that of [Chain.GainDB] less [Chain.FullScaleDB]: 0 dB where
// the response is 0 dB. With a low cut alone it is a second-order recursive
// filter; with a response it is a FIR filter, as long as the response needs.
type Cabinet struct {
	// ErrorDB is the largest difference between the filter and the band gains
	// among the bands below half the rate and within 40 dB of the strongest.
	ErrorDB float64

	cut  *highPass
	taps []float64 // reversed
	past []float64 // the last len(taps)-1 inputs, then room for a chunk
}

const (
	matchDB    = 0.1 // a filter this near to every band gain is long enough
	matterDB   = 40  // bands this far under the strongest need not match
	chunk      = 1024
	longestS   = 0.35 // of an impulse response
	bilinearTo = 40   // rate over low cut, below which the bilinear transform bends the cut too much
)

// NewCabinet returns the filter for a sample rate. It panics if rateHz is not
// positive.
func (c *Chain) NewCabinet(rateHz int) *Cabinet {
	if rateHz <= 0 {
		panic("ear: NewCabinet: sample rate must be positive")
	}
	r := &c.cabinet
	if len(r.points) == 0 {
		if r.lowCutHz == 0 {
			return &Cabinet{}
		}
		if float64(rateHz) >= bilinearTo*r.lowCutHz {
			f := &Cabinet{cut: newHighPass(r.lowCutHz, float64(rateHz))}
			f.ErrorDB = c.mismatch(func(b int) float64 { return f.cut.bandDB(b, float64(rateHz)) }, rateHz)
			return f
		}
	}
	whole := impulse(r.db, rateHz)
	longest := min(max(int(longestS*float64(rateHz)), 1), len(whole)/2)
	f := &Cabinet{}
	for n := min(128, longest); ; n = min(2*n, longest) {
		h := shorten(whole, n)
		gains := bandGains(h, rateHz)
		f.ErrorDB = c.mismatch(func(b int) float64 { return gains[b] }, rateHz)
		if f.ErrorDB <= matchDB || n == longest {
			f.taps = make([]float64, n)
			for i, v := range h {
				f.taps[n-1-i] = v
			}
			f.past = make([]float64, n-1+chunk)
			return f
		}
	}
}

// mismatch is the largest difference to the wanted band gains.
func (c *Chain) mismatch(gainDB func(b int) float64, rateHz int) float64 {
	want := c.GainDB.Plus(-c.FullScaleDB)
	strongest := math.Inf(-1)
	below := 0
	for b := range Bands {
		if _, hi := EdgesHz(b); hi <= float64(rateHz)/2 {
			strongest = max(strongest, want[b])
			below = b + 1
		}
	}
	var worst float64
	for b := range below {
		if want[b] >= strongest-matterDB {
			worst = max(worst, math.Abs(gainDB(b)-want[b]))
		}
	}
	return worst
}

// Taps returns the length of the FIR filter, 0 when there is none: the cost of
// a sample in multiplications.
func (f *Cabinet) Taps() int { return len(f.taps) }

// Process filters one channel in place. Unusable samples (samples.Usable) are
// heard as silence, so that one of them cannot silence all that follows.
func (f *Cabinet) Process(x []float64) {
	if f.cut != nil {
		f.cut.process(x)
	}
	if f.taps == nil {
		return
	}
	tail := len(f.taps) - 1
	for len(x) > 0 {
		n := min(len(x), chunk)
		samples.Scrub(f.past[tail:], x[:n])
		for i := range n {
			x[i] = dot(f.taps, f.past[i:])
		}
		copy(f.past, f.past[n:n+tail])
		x = x[n:]
	}
}

// Reset forgets the sound so far.
func (f *Cabinet) Reset() {
	clear(f.past)
	if f.cut != nil {
		f.cut.s1, f.cut.s2 = 0, 0
	}
}

// dot is Σ h·x over len(h), in four sums so that the additions overlap.
func dot(h, x []float64) float64 {
	x = x[:len(h)]
	var a, b, c, d float64
	for len(h) >= 4 {
		a += h[0] * x[0]
		b += h[1] * x[1]
		c += h[2] * x[2]
		d += h[3] * x[3]
		h, x = h[4:], x[4:]
	}
	for i, v := range h {
		a += v * x[i]
	}
	return (a + b) + (c + d)
}

// highPass is a second-order Butterworth high-pass: the bilinear transform of
// s²/(s²+√2·s+1) with the cut-off kept in its place, transposed direct form 2.
type highPass struct {
	k         float64 // tan(πfc/fs)
	b, a1, a2 float64 // numerator b·(1, -2, 1)
	s1, s2    float64
}

func newHighPass(cutHz, rateHz float64) *highPass {
	k := math.Tan(math.Pi * cutHz / rateHz)
	d := 1 + math.Sqrt2*k + k*k
	return &highPass{k: k, b: 1 / d, a1: 2 * (k*k - 1) / d, a2: (1 - math.Sqrt2*k + k*k) / d}
}

func (f *highPass) process(x []float64) {
	s1, s2 := f.s1, f.s2
	for i, v := range x {
		if !samples.Usable(v) {
			v = 0
		}
		y := f.b*v + s1
		s1 = -2*f.b*v - f.a1*y + s2
		s2 = f.b*v - f.a2*y
		// Far below anything audible, so that silence does not decay into
		// slow subnormal numbers.
		const tiny = 1e-200
		if math.Abs(s1) < tiny && math.Abs(s2) < tiny {
			s1, s2 = 0, 0
		}
		x[i] = y
	}
	f.s1, f.s2 = s1, s2
}

// bandDB is the gain of a band, |H|² averaged over log frequency. With the
// bilinear transform |H|² = x⁴/(1+x⁴), x = tan(πf/fs)/tan(πfc/fs).
func (f *highPass) bandDB(b int, rateHz float64) float64 {
	const steps = 64
	var sum float64
	for s := range steps {
		hz := 1000 * math.Pow(10, float64(b-17)/10-0.05+0.1*(float64(s)+0.5)/steps)
		t := math.Tan(math.Pi * hz / rateHz)
		x4 := t * t * t * t / (f.k * f.k * f.k * f.k)
		sum += x4 / (1 + x4)
	}
	return 10 * math.Log10(sum/steps)
}
