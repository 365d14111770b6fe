package solve

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/duck"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/resample"
)

// ringS is how far a dip may be heard before and after a sound.
const ringS = 0.1

// sources knows how loud a package takes files to be, and sounds as a dip
// leaves them at its deepest. The mean gain of a band will not do for those: a
// narrow tone on the flank of a dip loses what the dip takes at its very
// frequency, not what it takes of the band.
type sources struct {
	analyser *meet.Analyser
	loudDB   map[string]float64
	dipped   map[dippedKey]dippedSound
}

type dippedKey struct {
	path    string
	loop    bool
	dip     mixplan.Dip
	deepest float64
}

type dippedSound struct {
	x      []float64
	before int
}

func newSources(rateHz int) *sources {
	return &sources{meet.NewAnalyser(rateHz), map[string]float64{}, map[dippedKey]dippedSound{}}
}

// gainDB returns by how much a file of an event is louder in the package, which
// the plan has trimmed, than it is by itself. What the package does not hold
// has the plan's own trim.
func (c *sources) gainDB(pkg *meet.Package, e scene.Event, plan *mixplan.Plan) float64 {
	for _, b := range pkg.Buses {
		for _, s := range b.Sounds {
			if b.Category != e.Category || s.Path != e.Path || s.RPM > 0 {
				continue
			}
			own, ok := c.loudDB[e.Path]
			if !ok {
				x := resample.Sound(e.Clip.Sound, pkg.RateHz).Mono()
				own = wholeDB(meet.AtEar(c.analyser.Frames(x), pkg.Chain))
				c.loudDB[e.Path] = own
			}
			if held := wholeDB(s.Power); !math.IsInf(own, -1) && !math.IsInf(held, -1) {
				return held - own
			}
		}
	}
	return plan.TrimDB(e.Category, e.Path) + plan.BusGainDB
}

// wholeDB is the level over all frames.
func wholeDB(frames []sii.Masker) float64 {
	all := make([]bool, len(frames))
	for i := range all {
		all[i] = true
	}
	return level(frames, all)
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

// of returns the sound of an event, one channel at its own rate, as a dip at
// its deepest leaves it, and how many frames of it lie before the sound's
// first. What goes round has no room for a dip to ring.
func (c *sources) of(e scene.Event, rateHz int, dip mixplan.Dip, deepest float64) (x []float64, before int) {
	key := dippedKey{e.Path, e.Loop, dip, deepest}
	got, ok := c.dipped[key]
	if !ok {
		own := e.Clip.Sound.RateHz
		if !e.Loop {
			got.before, _ = aligned(own, rateHz)
		}
		mono := e.Clip.Sound.Mono()
		padded := make([]float64, len(mono)+2*got.before)
		copy(padded[got.before:], mono)
		got.x = throughDip(padded, own, rateHz, dip, deepest)
		c.dipped[key] = got
	}
	return got.x, got.before
}

// aligned returns a time of at least ringS in whole frames of both rates.
func aligned(ownHz, rateHz int) (own, machine int) {
	a, b := ownHz, rateHz
	for b != 0 {
		a, b = b, a%b
	}
	n := int(math.Ceil(ringS * float64(a)))
	return n * (ownHz / a), n * (rateHz / a)
}

// throughDip gives x, at ownHz, the magnitude response of a dip that stands in
// a machine at rateHz. Phase does not matter to band levels and is left as it is.
func throughDip(x []float64, ownHz, rateHz int, dip mixplan.Dip, deepest float64) []float64 {
	n := 1
	for n < len(x)+ownHz/4 { // room for the response to ring out
		n *= 2
	}
	padded := make([]float64, n)
	copy(padded, x)
	fft := fourier.NewFFT(n)
	spectrum := fft.Coefficients(nil, padded)
	for i := range spectrum {
		hz := float64(i) * float64(ownHz) / float64(n)
		hz = math.Min(math.Max(hz, 1), 0.499*float64(rateHz)) // over that nothing is played
		g := samples.DBAmplitude(duck.ResponseDB(rateHz, dip, deepest, deepest, hz)) / float64(n)
		spectrum[i] *= cmplx.Rect(g, 0)
	}
	return fft.Sequence(padded, spectrum)[:len(x)]
}

// lay adds an event's sound x, one channel at its clip's own rate, to a scene
// at rateHz; before frames of x lie before the event.
func lay(scene []float64, e scene.Event, x []float64, before, rateHz int, gain float64) {
	own := e.Clip.Sound.RateHz
	if e.Loop {
		x = unroll(x, e.Clip.Loop, int(float64(e.End-e.At)/float64(rateHz)*float64(own))+own/10)
	}
	at := e.At - int64(before)
	if own != rateHz {
		if before > 0 {
			_, machine := aligned(own, rateHz)
			at = e.At - int64(machine)
		}
		x = resample.Sound(&samples.Sound{RateHz: own, Chans: [][]float64{x}}, rateHz).Chans[0]
	}
	end := int64(len(scene))
	if before == 0 {
		end = min(end, e.End)
	}
	for i := max(0, -at); i < int64(len(x)) && at+i < end; i++ {
		scene[at+i] += gain * x[i]
	}
}

// unroll returns n frames of x as it goes round.
func unroll(x []float64, loop samples.Loop, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		k := int64(i)
		if k >= loop.End {
			k = loop.Start + (k-loop.Start)%(loop.End-loop.Start)
		}
		out[i] = x[k]
	}
	return out
}
