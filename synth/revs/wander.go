package revs

import (
	"math"
	"math/rand/v2"
)

// wander is the natural hunting of an idle: a slow drift and a loosely
// periodic sway, each a damped oscillator driven by noise and started in its
// stationary state. value has standard deviation 1.
type wander struct {
	rng   *rand.Rand
	modes [2]wanderMode
}

type wanderMode struct {
	w0, zeta, kick float64 // rad/s, damping ratio, noise per grid step
	x, v           float64
}

// The two modes: frequency, damping and share of the variance (common
// practice, no source: idles drift within seconds and hunt around 1 Hz).
var wanderShape = [2]struct{ hz, zeta, share float64 }{{0.22, 0.7, 0.6}, {0.95, 0.25, 0.4}}

func newWander(seed uint64) wander {
	w := wander{rng: rand.New(rand.NewPCG(seed, 0x72657673))}
	for i, s := range wanderShape {
		m := &w.modes[i]
		m.w0, m.zeta = 2*math.Pi*s.hz, s.zeta
		// x″ + 2ζω₀x′ + ω₀²x = σ·noise has variance σ²/(4ζω₀³).
		m.kick = math.Sqrt(s.share*4*m.zeta*m.w0*m.w0*m.w0) * math.Sqrt(gridS)
		m.x = math.Sqrt(s.share) * w.rng.NormFloat64()
		m.v = math.Sqrt(s.share) * m.w0 * w.rng.NormFloat64()
	}
	return w
}

// step advances by one grid step and returns the value and its slope per
// second.
func (w *wander) step() (value, slope float64) {
	for i := range w.modes {
		m := &w.modes[i]
		m.v += gridS*(-2*m.zeta*m.w0*m.v-m.w0*m.w0*m.x) + m.kick*w.rng.NormFloat64()
		m.x += gridS * m.v
		value += m.x
		slope += m.v
	}
	return value, slope
}
