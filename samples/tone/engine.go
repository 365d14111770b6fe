package tone

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"

	"tachbench/samples"
	"tachbench/samples/crank"
)

// EngineSpec describes an engine-like test signal. Zero values stand for the
// default given at each field; use a negative number where "none" is meant.
type EngineSpec struct {
	Layout    crank.Layout
	RPM       func(tS float64) float64 // revs over time, > 0
	DurationS float64
	RateHz    int // default 48000
	Channels  int // default 1; all channels carry the same engine and their own hiss

	SpreadDB       float64 // SD of the cylinder levels; default 2, negative = exactly equal
	CycleVariation float64 // SD of a pulse's level from cycle to cycle, share; default 0.06, negative = none
	JitterDeg      float64 // SD of a pulse's crank angle, degrees; default 0.7, negative = none
	Imbalance      float64 // first-order line, amplitude relative to the engine's RMS; default none
	LowCutHz       float64 // second-order high-pass, like a small microphone; default none
	SNRDB          float64 // RMS of the engine over RMS of white hiss; 0 = no hiss
	RMS            float64 // of the engine without hiss; default 0.1
	Seed           uint64
}

// Hold returns a constant RPM function.
func Hold(rpm float64) func(float64) float64 { return func(float64) float64 { return rpm } }

// Pull returns revs that move linearly from one value to another over
// durationS and stay there.
func Pull(from, to, durationS float64) func(float64) float64 {
	return func(t float64) float64 {
		x := math.Min(math.Max(t/durationS, 0), 1)
		return from + (to-from)*x
	}
}

// resonances of the simple exhaust: fixed in hertz, so that the colour stays
// where it is while the revs move. Frequency, decay time, weight.
var resonances = []struct{ hz, decayS, gain float64 }{
	{85, 0.012, 1.0},
	{210, 0.009, 0.8},
	{520, 0.006, 0.6},
	{1150, 0.003, 0.5},
	{2600, 0.0015, 0.35},
}

// Engine returns an engine-like sound and its truth. Every firing starts a
// set of decaying resonances at its exact (fractional) time. The truth has a
// point each millisecond; its Phase is 0 at time 0, and cylinder i fires
// where the fractional part of the phase is its firing angle divided by the
// cycle's degrees. It panics on an unusable spec.
func Engine(spec EngineSpec) (*samples.Sound, *crank.Track) {
	if err := spec.Layout.Validate(); err != nil {
		panic("tone: " + err.Error())
	}
	if spec.RPM == nil || !(spec.DurationS > 0) {
		panic(fmt.Sprintf("tone: engine needs RPM and a length, got %v s", spec.DurationS))
	}
	spec.RateHz = int(orDefault(float64(spec.RateHz), 48000))
	spec.Channels = int(orDefault(float64(spec.Channels), 1))
	s := Silence(spec.RateHz, spec.Channels, spec.DurationS)
	phase := integrate(spec)
	x := s.Chans[0]
	ring(x, pulses(spec, phase), float64(spec.RateHz))
	if spec.LowCutHz > 0 {
		highPass(x, spec.LowCutHz/float64(spec.RateHz))
	}
	rms := orDefault(spec.RMS, 0.1)
	scaleTo(x, rms)
	for i := range x {
		turns := phase[i] * spec.Layout.RevsPerCycle()
		x[i] += math.Max(spec.Imbalance, 0) * rms * math.Sqrt2 * math.Sin(2*math.Pi*math.Mod(turns, 1))
	}
	for c := 1; c < len(s.Chans); c++ {
		copy(s.Chans[c], x)
	}
	if spec.SNRDB != 0 {
		hiss := White(spec.RateHz, spec.Channels, spec.DurationS, rms/samples.DBAmplitude(spec.SNRDB), spec.Seed+101)
		for c, ch := range s.Chans {
			for i := range ch {
				ch[i] += hiss.Chans[c][i]
			}
		}
	}
	return s, truth(spec, phase)
}

// integrate returns the phase in engine cycles at every frame and one past
// the end, by Simpson's rule over each frame.
func integrate(spec EngineSpec) []float64 {
	n := frames(spec.RateHz, spec.DurationS)
	dt := 1 / float64(spec.RateHz)
	phase := make([]float64, n+1)
	at := func(t float64) float64 {
		rpm := spec.RPM(t)
		if !(rpm > 0) {
			panic(fmt.Sprintf("tone: RPM(%g s) is %g, must be above 0", t, rpm))
		}
		return spec.Layout.CycleHz(rpm)
	}
	left := at(0)
	for i := 0; i < n; i++ {
		t := float64(i) * dt
		mid, right := at(t+dt/2), at(t+dt)
		phase[i+1] = phase[i] + dt*(left+4*mid+right)/6
		left = right
	}
	return phase
}

type pulse struct{ at, level float64 } // frames, linear

// pulses places every firing in time. Jitter moves it in crank angle.
func pulses(spec EngineSpec, phase []float64) []pulse {
	rng := rand.New(rand.NewPCG(spec.Seed, 0xc4a2))
	spread := math.Max(orDefault(spec.SpreadDB, 2), 0)
	variation := math.Max(orDefault(spec.CycleVariation, 0.06), 0)
	jitter := math.Max(orDefault(spec.JitterDeg, 0.7), 0) / spec.Layout.CycleDegrees()
	angles := spec.Layout.Angles()
	level := make([]float64, len(angles))
	for i := range level {
		level[i] = samples.DBAmplitude(spread * rng.NormFloat64())
	}
	var out []pulse
	last := phase[len(phase)-1]
	frame := 0
	for cycle := 0.0; cycle <= last; cycle++ {
		for i, deg := range angles {
			p := cycle + deg/spec.Layout.CycleDegrees() + jitter*rng.NormFloat64()
			l := level[i] * math.Max(0.1, 1+variation*rng.NormFloat64())
			if p < 0 || p >= last {
				continue
			}
			for frame > 0 && phase[frame] > p {
				frame--
			}
			for phase[frame+1] <= p {
				frame++
			}
			out = append(out, pulse{float64(frame) + (p-phase[frame])/(phase[frame+1]-phase[frame]), l})
		}
	}
	return out
}

// ring adds the resonances. Each is one complex pole, so a pulse between two
// frames is placed exactly.
func ring(x []float64, ps []pulse, rateHz float64) {
	at := make([][]pulse, len(x))
	for _, p := range ps {
		if i := int(math.Ceil(p.at)); i < len(x) {
			at[i] = append(at[i], p)
		}
	}
	for _, r := range resonances {
		if r.hz > 0.4*rateHz {
			continue
		}
		s := complex(-1/(r.decayS*rateHz), 2*math.Pi*r.hz/rateHz)
		step := cmplx.Exp(s)
		var z complex128
		for i := range x {
			z *= step
			for _, p := range at[i] {
				z += complex(p.level*r.gain, 0) * cmplx.Exp(s*complex(float64(i)-p.at, 0))
			}
			x[i] += imag(z)
		}
	}
}

// highPass is a second-order Butterworth section (bilinear transform), f in
// cycles per frame.
func highPass(x []float64, f float64) {
	k := math.Tan(math.Pi * f)
	norm := 1 / (1 + math.Sqrt2*k + k*k)
	a1, a2 := 2*(k*k-1)*norm, (1-math.Sqrt2*k+k*k)*norm
	var x1, x2, y1, y2 float64
	for i, v := range x {
		y := norm*(v-2*x1+x2) - a1*y1 - a2*y2
		x2, x1, y2, y1 = x1, v, y1, y
		x[i] = y
	}
}

func truth(spec EngineSpec, phase []float64) *crank.Track {
	t := &crank.Track{HopS: 0.001}
	n := int(math.Floor(spec.DurationS/t.HopS)) + 1
	for i := 0; i < n; i++ {
		tS := float64(i) * t.HopS
		pos := tS * float64(spec.RateHz)
		k := min(int(pos), len(phase)-2)
		t.RPM = append(t.RPM, spec.RPM(tS))
		t.Confidence = append(t.Confidence, 1)
		t.Phase = append(t.Phase, phase[k]+(pos-float64(k))*(phase[k+1]-phase[k]))
	}
	return t
}

func orDefault(v, def float64) float64 {
	if v == 0 {
		return def
	}
	return v
}
