package standin

import (
	"fmt"
	"math"
	"sync"

	"tachbench/samples"
	"tachbench/samples/crank"
)

const (
	minInnerHz = 40000
	warmS      = 0.4
	floorDBFS  = -78.0 // the microphone's own hiss, RMS

	// peakDBFS is where the loudest moment of a full-load pull is put. It
	// leaves 3 dB for chance under the promise of -3 dBFS.
	peakDBFS = -6.5
)

// Record runs the engine and returns what a microphone caught, and the true
// revs and crank phase.
//
// rpm and load are asked for at rising times 0..seconds (and a little
// beyond): RPM, held within 60..40000, and load 0 overrun .. 1 full, held
// within 0..1; NaN keeps the value before it. One channel hears exhaust and
// intake together; of two, the first stands on the exhaust side and the
// second on the intake side; more repeat these.
//
// The level is fixed by the Spec alone: recordings of one engine keep their
// relation to each other whatever their motion, seed and rate, and a
// full-load pull peaks near -6.5 dBFS. Whole phase numbers of the track are
// the firing dead centre of angle 0; sound is later by the time through the
// pipe.
//
// It panics if the Spec is not valid, seconds is negative or not finite, the
// rate is outside 4000..400000 Hz, or channels is not positive.
func Record(spec Spec, rpm, load func(tS float64) float64, seconds float64, rateHz, channels int, seed uint64) (*samples.Sound, *crank.Track) {
	if err := spec.Validate(); err != nil {
		panic("standin: " + err.Error())
	}
	if !(seconds >= 0) || math.IsInf(seconds, 1) || rateHz < 4000 || rateHz > 400000 || channels < 1 {
		panic(fmt.Sprintf("standin: Record of %g s at %d Hz on %d channels", seconds, rateHz, channels))
	}
	return record(&spec, rpm, load, seconds, rateHz, placesFor(channels), seed, gain(&spec))
}

// record is Record with a given output gain and choice of microphones.
func record(spec *Spec, rpm, load func(float64) float64, seconds float64, rateHz int, places []place, seed uint64, gain float64) (*samples.Sound, *crank.Track) {
	// Low rates are run faster and thinned out, so that pulses do not alias
	// and the pipe keeps its lengths.
	over := (minInnerHz + rateHz - 1) / rateHz
	inner := float64(rateHz * over)
	frames := int(math.Round(seconds * float64(rateHz)))
	out := samples.NewSound(rateHz, len(places), frames)

	e := newEngine(spec, inner, seed)
	mo := newMotion(spec, rpm, load, inner)
	mics := make([]microphone, len(places))
	for c, p := range places {
		mics[c] = newMicrophone(p, inner, gain)
	}
	thin := newThinner(over, len(places))
	hiss := newDice(seed ^ 0x9e3779b97f4a7c15)
	floor := samples.DBAmplitude(floorDBFS) * math.Sqrt(3)

	// The pipe fills before the tape runs.
	first := -int(warmS * inner)
	for n := first; n < frames*over+thin.half; n++ {
		if n == first || mo.due(n) {
			mo.next(n, e)
		}
		ex, in, bl := e.step()
		for c := range mics {
			y := mics[c].step(ex, in, bl)
			h, _ := hiss.pair()
			thin.push(c, y+floor*h)
		}
		if at := n - thin.half; at >= 0 && at%over == 0 {
			for c := range mics {
				out.Chans[c][at/over] = thin.read(c)
			}
		}
		thin.move()
	}
	return out, mo.track(seconds)
}

var (
	gainMu sync.Mutex
	gains  = map[string]float64{}
)

// gain measures a full-load pull and returns what brings its peak to
// peakDBFS. It depends on the Spec alone.
func gain(spec *Spec) float64 {
	key := fmt.Sprintf("%+v", *spec)
	gainMu.Lock()
	defer gainMu.Unlock()
	if g, ok := gains[key]; ok {
		return g
	}
	const pullS = 1.5
	rpm := func(t float64) float64 {
		return spec.IdleRPM + (spec.RedlineRPM-spec.IdleRPM)*min(1, 1.5*t/pullS)
	}
	full := func(float64) float64 { return 1 }
	s, _ := record(spec, rpm, full, pullS, 48000, []place{between, exhaustSide, intakeSide}, 1, 1)
	peak := 0.0
	for _, ch := range s.Chans {
		for _, v := range ch {
			peak = max(peak, math.Abs(v))
		}
	}
	g := samples.DBAmplitude(peakDBFS) / peak
	gains[key] = g
	return g
}
