package revs

import "math"

// Trace is what an engine did: points every hop from time 0 on. All slices
// have the same length.
type Trace struct {
	TimeS, RPM, Load []float64
}

// Run works the lever for the given seconds from where the model stands and
// returns a point at 0, hopS, 2·hopS … up to and including seconds. It
// panics if hopS is not positive or seconds is negative or not finite.
func Run(m *Model, lever Lever, seconds, hopS float64) Trace {
	if !(hopS > 0) || !(seconds >= 0) || math.IsInf(seconds, 1) {
		panic("revs: Run needs a positive hop and a finite length")
	}
	n := int(math.Floor(seconds/hopS+1e-9)) + 1
	tr := Trace{TimeS: make([]float64, n), RPM: make([]float64, n), Load: make([]float64, n)}
	next := 0 // the first lever row not yet passed
	now, held := 0.0, 0.0
	for next < len(lever.TimeS) && lever.TimeS[next] <= 0 {
		held = lever.Pressed[next]
		next++
	}
	for i := range n {
		t := float64(i) * hopS
		for next < len(lever.TimeS) && lever.TimeS[next] < t {
			m.Step(lever.TimeS[next]-now, held)
			now, held = lever.TimeS[next], lever.Pressed[next]
			next++
		}
		tr.TimeS[i] = t
		tr.RPM[i], tr.Load[i] = m.Step(t-now, held)
		now = t
	}
	return tr
}
