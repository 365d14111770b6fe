package duck

import (
	"fmt"
	"math"

	"tachbench/mixplan"
)

// shape is the band-pass of a dip: fixed, so that nothing in it moves while
// the dip comes and goes.
type shape struct{ b0, a1, a2 float64 }

// state is what a channel remembers (transposed direct form II).
type state struct{ s1, s2 float64 }

func warp(hz float64, rateHz int) float64 { return math.Tan(math.Pi * hz / float64(rateHz)) }

// plane returns u0² and B of the package comment.
func plane(rateHz int, d mixplan.Dip, deepestDB float64) (u02, width float64) {
	lo, hi := warp(d.LowHz, rateHz), warp(d.HighHz, rateHz)
	return lo * hi, (hi - lo) / math.Sqrt(math.Exp(deepestDB*(-math.Ln10/20)))
}

func newShape(rateHz int, d mixplan.Dip, deepestDB float64) shape {
	if d.HighHz >= float64(rateHz)/2 {
		panic(fmt.Sprintf("duck: a dip up to %g Hz at a rate of %d Hz", d.HighHz, rateHz))
	}
	u02, b := plane(rateHz, d, deepestDB)
	k := 1 + b + u02
	return shape{b0: b / k, a1: 2 * (u02 - 1) / k, a2: (1 - b + u02) / k}
}

// tiny is far below the last bit of anything audible; a state under it is set
// to zero, so that silence does not run through slow denormal numbers.
const tiny = 1e-60

// run takes (1-gain) of the band out of x, in place.
func (s shape) run(st *state, x, gain []float64) {
	s1, s2 := st.s1, st.s2
	for i, v := range x {
		p := s.b0*v + s1
		s1 = s2 - s.a1*p
		s2 = -s.b0*v - s.a2*p
		if s1 < tiny && s1 > -tiny {
			s1 = 0
		}
		if s2 < tiny && s2 > -tiny {
			s2 = 0
		}
		x[i] = v - (1-gain[i])*p
	}
	st.s1, st.s2 = s1, s2
}

// ResponseDB returns the gain in dB, 0 or less, that a dip standing at
// depthDB has at hz (up to half of rateHz). deepestDB is the depth of the
// deepest rule of this band on the category, which sets the width.
func ResponseDB(rateHz int, d mixplan.Dip, deepestDB, depthDB, hz float64) float64 {
	u02, b := plane(rateHz, d, deepestDB)
	u := warp(hz, rateHz)
	if u <= 0 {
		return 0
	}
	w := (u - u02/u) / b
	g := math.Exp(depthDB * (-math.Ln10 / 20))
	return 10 * math.Log10((w*w+g*g)/(w*w+1))
}
