package standin

import (
	"math"
	"math/rand/v2"
)

// dice are the random numbers of one recording: two uniform noises a
// sample from one draw, and normal values for the events.
type dice struct {
	src *rand.PCG
	rng *rand.Rand
}

func newDice(seed uint64) dice {
	src := rand.NewPCG(seed, 0x7374616e64696e)
	return dice{src: src, rng: rand.New(src)}
}

// pair returns two independent uniform values, -1..1 (variance 1/3).
func (d *dice) pair() (a, b float64) {
	u := d.src.Uint64()
	return float64(int32(u)) * (1.0 / (1 << 31)), float64(int32(u>>32)) * (1.0 / (1 << 31))
}

// normal returns a normal value held within ±3.
func (d *dice) normal() float64 { return min(max(d.rng.NormFloat64(), -3), 3) }

// band is a two-pole band filter, for noise with a colour.
type band struct{ lo, hi onePole }

func newBand(fromHz, toHz, rate float64) band {
	return band{lo: lowPass(fromHz, rate), hi: lowPass(min(toHz, 0.45*rate), rate)}
}

func (b *band) step(x float64) float64 {
	y := b.hi.step(x)
	return y - b.lo.step(y)
}

// mode is one resonance of the block: a decaying sine.
type mode struct{ a1, a2, gain, y1, y2 float64 }

func newMode(hz, decayS, gain, rate float64) mode {
	r := math.Exp(-1 / (decayS * rate))
	w := 2 * math.Pi * hz / rate
	if w > 0.9*math.Pi {
		return mode{}
	}
	return mode{a1: 2 * r * math.Cos(w), a2: -r * r, gain: gain * math.Sin(w)}
}

func (m *mode) step(x float64) float64 {
	y := m.a1*m.y1 + m.a2*m.y2 + m.gain*x
	m.y2, m.y1 = m.y1, y
	return y
}
