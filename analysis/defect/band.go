package defect

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/samples"
)

// band looks for a steep upper edge in the spectrum. Sound of nature rolls off
// by 6 to 30 dB an octave; the filter of a resampler or of a lossy coder drops
// by more than 30 dB within a few percent. Levels are averaged in decibels, over
// time and over bins, and the octave below the edge must be filled all through:
// a tone, a series of harmonics or a sweep leaves most of it empty most of the
// time and is no sign of an edge.
type band struct {
	fft     *fourier.FFT
	window  []float64
	buf     []float64
	coef    []complex128
	db      []float64 // Σ of levels over the windows, dB
	fill    int
	channel int
	windows int
	skip    int // chunks to leave out
	gate    float64
	rateHz  float64
	lossy   bool
}

const (
	bandMinBins  = 256 // FFT length at least
	bandWindowS  = 0.02
	bandGateDBFS = -50.0
	bandDense    = 50 // windows taken one after the other; later ones every 100 ms
	bandRest     = 8  // chunks between the later ones
	bandNeeded   = 5  // windows for a reading
	bandLowShare = 0.05
	bandBelow    = 0.80 // the stretch under the edge starts here
	bandAbove    = 1.08 // and the silence above it here, both times the edge
	bandTopShare = 0.97 // the last bins hold resampler residues
	bandMildHz   = 12000
	bandEdgeBins = 3
	bandFilled   = 8   // parts of the octave below the edge
	bandFillDB   = 0.7 // each must reach this share of the drop
)

func newBand(rateHz float64, lossy bool) *band {
	n := bandMinBins
	for float64(n) < bandWindowS*rateHz {
		n *= 2
	}
	b := &band{
		fft: fourier.NewFFT(n), window: make([]float64, n), buf: make([]float64, n),
		coef: make([]complex128, n/2+1), db: make([]float64, n/2+1),
		gate: samples.DBPower(bandGateDBFS), rateHz: rateHz, lossy: lossy,
	}
	for i := range b.window {
		b.window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
	}
	return b
}

// process gathers windows from chunks loud enough, from each channel in turn.
func (b *band) process(views [][]float64, power float64) {
	if b.skip > 0 {
		b.skip--
		return
	}
	if power < b.gate {
		b.fill = 0
		return
	}
	// What is left of a chunk when a window is full is dropped: the next
	// window begins with another channel.
	b.fill += copy(b.buf[b.fill:], views[b.channel])
	if b.fill < len(b.buf) {
		return
	}
	b.fill = 0
	b.add()
	b.channel = (b.channel + 1) % len(views)
	if b.windows >= bandDense {
		b.skip = bandRest
	}
}

func (b *band) add() {
	for i, w := range b.window {
		b.buf[i] *= w
	}
	b.coef = b.fft.Coefficients(b.coef, b.buf)
	for i, c := range b.coef {
		re, im := real(c), imag(c)
		b.db[i] += samples.PowerDB(max(re*re+im*im, 1e-30))
	}
	b.windows++
}

// edge returns the frequency of the steepest edge below share of half the rate
// and the drop across it.
func (b *band) edge(share float64) (hz, dropDB float64) {
	n := len(b.db) - 1
	top := int(bandTopShare * float64(n))
	above := make([]float64, n+2) // above[i]: highest level from bin i up to top
	sum := make([]float64, n+2)   // sum[i]: Σ level of bins 1..i-1
	for i := range above {
		above[i] = math.Inf(-1)
	}
	level := func(i int) float64 { return (b.db[i-1] + b.db[i] + b.db[i+1]) / (3 * float64(b.windows)) }
	for i := top; i >= 1; i-- {
		above[i] = max(above[i+1], level(i))
	}
	for i := 1; i < n; i++ {
		sum[i+1] = sum[i] + level(i)
	}
	mean := func(from, to float64) float64 {
		i, j := int(from), max(int(to), int(from)+1)
		return (sum[j] - sum[i]) / float64(j-i)
	}
	for k := max(int(bandLowShare*float64(n)), 2*bandFilled); k < int(share*float64(n)); k++ {
		edge := float64(k)
		hi := above[min(int(math.Ceil(bandAbove*edge))+bandEdgeBins, n)]
		drop := mean(bandBelow*edge, edge) - hi
		if math.IsInf(hi, -1) || drop <= dropDB {
			continue
		}
		lowest := drop
		for p := range bandFilled {
			from := edge * (0.5 + 0.5*float64(p)/bandFilled)
			lowest = min(lowest, mean(from, from+0.5*edge/bandFilled)-hi)
		}
		if lowest >= bandFillDB*drop {
			hz, dropDB = edge/float64(n)*b.rateHz/2, drop
		}
	}
	return hz, dropDB
}

func (b *band) findings(opt Options) []Finding {
	if b.windows < bandNeeded {
		return nil
	}
	limit := opt.Limit("bandwidth_share")
	hz, drop := b.edge(limit)
	if drop < opt.Limit("bandwidth_edge_db") {
		return nil
	}
	if hz >= bandMildHz && b.lossy {
		return nil // the file's own coder draws that line
	}
	f := found("narrow-band", wholeFile, allChannels,
		reading{value: hz, limit: limit * b.rateHz / 2, unit: "Hz"},
		"The sound ends at %s by a drop of %.0f dB, the sample rate has room up to %s.", hertz(hz), drop, hertz(b.rateHz/2))
	if hz >= bandMildHz {
		f.Severity = Note // few cabinet speakers tell the difference
	}
	return []Finding{f}
}
