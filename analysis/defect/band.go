package defect

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/samples"
)

// band looks for a steep upper edge in the spectrum. Sound of nature rolls off
// by 6 to 30 dB an octave; the filter of a resampler or of a lossy coder drops
// by more than 30 dB within a few percent. Levels are averaged in decibels over
// the bins below the edge, so a bare tone or a series of harmonics, which has
// nothing between its lines, is no sign of an edge.
type band struct {
	fft     *fourier.FFT
	window  []float64
	buf     []float64
	coef    []complex128
	power   []float64
	fill    int
	channel int
	windows int
	skip    int // chunks to leave out
	gate    float64
	rateHz  float64
}

const (
	bandMinBins   = 256 // FFT length at least
	bandWindowS   = 0.02
	bandGateDBFS  = -50.0
	bandDense     = 50 // windows taken one after the other; later ones every 100 ms
	bandRest      = 8  // chunks between the later ones
	bandNeeded    = 5  // windows for a reading
	bandLowShare  = 0.05
	bandBelow     = 0.80 // the stretch under the edge starts here
	bandAbove     = 1.08 // and the silence above it here, both times the edge
	bandTopShare  = 0.97 // the last bins hold resampler residues
	bandMildHz    = 12000
	bandEdgeSteps = 3
)

func newBand(rateHz float64) *band {
	n := bandMinBins
	for float64(n) < bandWindowS*rateHz {
		n *= 2
	}
	b := &band{
		fft: fourier.NewFFT(n), window: make([]float64, n), buf: make([]float64, n),
		coef: make([]complex128, n/2+1), power: make([]float64, n/2+1),
		gate: samples.DBPower(bandGateDBFS), rateHz: rateHz,
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
	x := views[b.channel]
	for len(x) > 0 {
		n := copy(b.buf[b.fill:], x)
		b.fill += n
		x = x[n:]
		if b.fill < len(b.buf) {
			return
		}
		b.fill = 0
		b.add()
		b.channel = (b.channel + 1) % len(views)
		if b.windows >= bandDense {
			b.skip = bandRest
		}
		return
	}
}

func (b *band) add() {
	for i, w := range b.window {
		b.buf[i] *= w
	}
	b.coef = b.fft.Coefficients(b.coef, b.buf)
	for i, c := range b.coef {
		re, im := real(c), imag(c)
		b.power[i] += re*re + im*im
	}
	b.windows++
}

// edge returns the frequency of the steepest edge below share of half the rate
// and the drop across it.
func (b *band) edge(share float64) (hz, dropDB float64) {
	n := len(b.power) - 1
	db := make([]float64, n+1)
	for i := 1; i < n; i++ {
		db[i] = samples.PowerDB(max((b.power[i-1]+b.power[i]+b.power[i+1])/3, 1e-30))
	}
	top := int(bandTopShare * float64(n))
	above := make([]float64, n+2) // above[i]: highest level from bin i up to top
	for i := range above {
		above[i] = math.Inf(-1)
	}
	sum := make([]float64, n+2) // sum[i]: Σ db[1..i-1]
	for i := top; i >= 1; i-- {
		above[i] = max(above[i+1], db[i])
	}
	for i := 1; i <= n; i++ {
		sum[i+1] = sum[i] + db[i]
	}
	for k := max(int(bandLowShare*float64(n)), 8); k < int(share*float64(n)); k++ {
		from := int(bandBelow * float64(k))
		hi := above[min(int(math.Ceil(bandAbove*float64(k)))+bandEdgeSteps, n)]
		drop := (sum[k]-sum[from])/float64(k-from) - hi
		if !math.IsInf(hi, -1) && drop > dropDB {
			hz, dropDB = float64(k)/float64(n)*b.rateHz/2, drop
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
	f := found("narrow-band", wholeFile, allChannels,
		reading{value: hz, limit: limit * b.rateHz / 2, unit: "Hz"},
		"The sound ends at %s by a drop of %.0f dB, the sample rate has room up to %s.", hertz(hz), drop, hertz(b.rateHz/2))
	if hz >= bandMildHz {
		f.Severity = Note // few cabinet speakers tell the difference
	}
	return []Finding{f}
}
