package standin

import (
	"math"
	"math/rand/v2"
)

// Always returns v at all times: a load, or revs held by a machine.
func Always(v float64) func(tS float64) float64 {
	return func(float64) float64 { return v }
}

// Ramp returns from until time 0, to from time seconds on, straight between.
func Ramp(from, to, seconds float64) func(tS float64) float64 {
	return func(tS float64) float64 {
		return from + (to-from)*min(max(tS/seconds, 0), 1)
	}
}

// Hold returns revs as a hand on a lever holds them: rpm with a slow drift,
// a sum of eight slow sways (0.05 to 1.3 Hz) of seeded phase with a standard
// deviation of 0.15 % (common practice, no source).
func Hold(rpm float64, seed uint64) func(tS float64) float64 {
	const sways, sd = 8, 0.0015
	rng := rand.New(rand.NewPCG(seed, 0x686f6c64))
	var hz, at [sways]float64
	for i := range sways {
		hz[i] = 0.05 * math.Pow(26, (float64(i)+0.5*rng.Float64())/sways)
		at[i] = rng.Float64()
	}
	return func(tS float64) float64 {
		sum := 0.0
		for i := range sways {
			sum += math.Sin(2 * math.Pi * (hz[i]*tS + at[i]))
		}
		return rpm * (1 + sd*math.Sqrt(2.0/sways)*sum)
	}
}
