package fidelity

import "math"

// integral is the running integral of samples, read at fractional places.
// Between samples it is the cubic that has the right values and slopes, so
// differences of it are means of a smooth curve through the samples.
type integral struct{ c, x []float64 }

func newIntegral(x []float64) integral {
	c := make([]float64, len(x))
	for i := 1; i < len(x); i++ {
		if i >= 2 && i+1 < len(x) {
			c[i] = c[i-1] + (13*(x[i-1]+x[i])-x[i-2]-x[i+1])/24
		} else {
			c[i] = c[i-1] + (x[i-1]+x[i])/2
		}
	}
	return integral{c, x}
}

// at returns the integral from sample 0 to place p, in samples.
func (n integral) at(p float64) float64 {
	i := min(max(int(p), 0), len(n.x)-2)
	u := p - float64(i)
	d := n.c[i+1] - n.c[i]
	a, b := n.x[i], n.x[i+1]
	return n.c[i] + u*(a+u*((3*d-2*a-b)+u*(a+b-2*d)))
}

// places returns the fractional sample at which the phase passes each
// multiple of 1/perCycle, starting with the first whole cycle plus offset
// cycles and covering whole cycles only. Its length is a multiple of
// perCycle plus one, or zero.
func (t *Take) places(perCycle int, offset float64) []float64 {
	start := math.Ceil(t.Phase[0]-offset) + offset
	cycles := int(math.Floor(t.Phase[len(t.Phase)-1] - start))
	if cycles < 1 {
		return nil
	}
	out := make([]float64, 0, cycles*perCycle+1)
	i := 0
	for j := 0; j <= cycles*perCycle; j++ {
		want := start + float64(j)/float64(perCycle)
		for i < len(t.Phase)-2 && t.Phase[i+1] < want {
			i++
		}
		p := float64(i)
		if d := t.Phase[i+1] - t.Phase[i]; d > 0 {
			p += math.Max(0, math.Min(1, (want-t.Phase[i])/d))
		}
		out = append(out, p)
	}
	return out
}

// cycleMatrix cuts a take into whole cycles of perCycle points, each the
// mean of the sound over its share of crank angle. It also gives the time
// at which every cycle starts.
func (t *Take) cycleMatrix(perCycle int) (cycles [][]float64, timeS []float64) {
	at := t.places(perCycle, 0)
	if len(at) == 0 {
		return nil, nil
	}
	in := newIntegral(t.X)
	flat := make([]float64, len(at)-1)
	prev := in.at(at[0])
	for j := range flat {
		next := in.at(at[j+1])
		if d := at[j+1] - at[j]; d > 0 {
			flat[j] = (next - prev) / d
		}
		prev = next
	}
	for j := 0; j < len(flat); j += perCycle {
		cycles = append(cycles, flat[j:j+perCycle])
		timeS = append(timeS, at[j]/float64(t.RateHz))
	}
	return cycles, timeS
}
