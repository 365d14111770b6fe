package solve

import (
	"math"
	"math/cmplx"
	"sync"

	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/mixplan"
	"tachbench/mixplan/duck"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/scene"
	"tachbench/samples"
)

// losses knows what a dip takes out of a sound, frame by frame. The mean gain of
// a band will not do: a narrow tone on the flank of a dip loses what the dip
// takes at its very frequency, not what it takes of the band.
// It may be used from several goroutines.
type losses struct {
	mu       sync.Mutex
	analyser *meet.Analyser
	known    map[lossKey][]ear.Levels
}

type lossKey struct {
	path    string
	dip     mixplan.Dip
	deepest float64
}

func newLosses(rateHz int) *losses {
	return &losses{analyser: meet.NewAnalyser(rateHz), known: map[lossKey][]ear.Levels{}}
}

// leftOf returns how much of what a dip takes at its deepest it leaves when it
// stands at depthDB: by the law |Y/X|² is a + b·g² at every frequency, so what
// is left of a power lies on a line over g², whatever the spectrum.
func leftOf(depthDB, deepestDB float64) float64 {
	least := samples.DBPower(-deepestDB)
	if least == 1 {
		return 1
	}
	return (samples.DBPower(-depthDB) - least) / (1 - least)
}

// of returns the change of each band's level in each frame, dB, when the dip
// stands at its deepest; leftOf says what is left of that at another depth.
func (c *losses) of(e scene.Event, rateHz int, dip mixplan.Dip, deepest float64) []ear.Levels {
	key := lossKey{e.Path, dip, deepest}
	c.mu.Lock()
	defer c.mu.Unlock()
	if got, ok := c.known[key]; ok {
		return got
	}
	mono := e.Clip.Sound.Mono()
	x := make([]float64, len(mono))
	samples.Scrub(x, mono)
	before := c.analyser.Frames(x)
	after := c.analyser.Frames(throughDip(x, rateHz, dip, deepest))
	for i := range before {
		for k, p := range before[i] {
			before[i][k] = 0
			if p > 0 && after[i][k] > 0 {
				before[i][k] = samples.PowerDB(after[i][k] / p)
			}
		}
	}
	c.known[key] = before
	return before
}

// throughDip gives x the magnitude response of a standing dip. Phase does not
// matter to band levels and is left as it is.
func throughDip(x []float64, rateHz int, dip mixplan.Dip, deepest float64) []float64 {
	n := 1
	for n < len(x)+rateHz/4 { // room for the response to ring out
		n *= 2
	}
	padded := make([]float64, n)
	copy(padded, x)
	fft := fourier.NewFFT(n)
	spectrum := fft.Coefficients(nil, padded)
	for i := range spectrum {
		hz := float64(i) * float64(rateHz) / float64(n)
		g := samples.DBAmplitude(duck.ResponseDB(rateHz, dip, deepest, deepest, math.Max(hz, 1))) / float64(n)
		spectrum[i] *= cmplx.Rect(g, 0)
	}
	return fft.Sequence(padded, spectrum)[:len(x)]
}
