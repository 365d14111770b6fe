package fidelity

import "math"

// blocksPerCycle is how finely demodulated orders are kept: eight points a
// cycle let the phase of harmonic k be followed without a wrap up to a
// detuning of 4/k.
const blocksPerCycle = 8

// lines are cycle harmonics of a take brought to zero frequency.
type lines struct {
	k     []int          // cycle harmonics
	z     [][]complex128 // z[i][j]: harmonic k[i] around point j
	timeS []float64      // time of point j, seconds from the start of the take
}

// demodulate turns each harmonic k of the engine cycle to zero frequency
// with the take's own phase and averages in the crank-angle domain:
//
//	z_k(φ) = ∫ x(ψ)·e^(-j2πkψ)·w(ψ-φ) dψ
//
// where w is the triangle of two cycles (one whole cycle averaged twice).
// It has double zeros on all other harmonics, whatever the revs do. A line
// of amplitude A gives |z| = A/2. ks must ascend.
func demodulate(t *Take, ks []int) lines {
	first := int(math.Ceil(t.Phase[0] * blocksPerCycle))
	last := int(math.Floor(t.Phase[len(t.Phase)-1] * blocksPerCycle))
	n := last - first
	out := lines{k: ks}
	if n < 2*blocksPerCycle {
		return out
	}
	sums := make([][]complex128, len(ks))
	for i := range sums {
		sums[i] = make([]complex128, n)
	}
	edgeS := make([]float64, n+1)
	prev := make([]complex128, len(ks))
	cur := make([]complex128, len(ks))
	fill := func(dst []complex128, i int) {
		s, c := math.Sincos(-2 * math.Pi * t.Phase[i])
		base, p := complex(c, s), complex(t.X[i], 0)
		k := 0
		for j, want := range ks {
			for ; k < want; k++ {
				p *= base
			}
			dst[j] = p
		}
	}
	fill(prev, 0)
	for i := 0; i+1 < len(t.X); i++ {
		fill(cur, i+1)
		p0, p1 := t.Phase[i], t.Phase[i+1]
		d := p1 - p0
		b0 := int(math.Floor(p0*blocksPerCycle)) - first
		b1 := int(math.Floor(p1*blocksPerCycle)) - first
		if b0 == b1 || d <= 0 {
			if b0 >= 0 && b0 < n {
				for j := range ks {
					sums[j][b0] += (prev[j] + cur[j]) * complex(d/2, 0)
				}
			}
		} else {
			// A sample step never spans more than one edge below a cycle
			// rate of an eighth of the sample rate.
			u := (float64(b1+first)/blocksPerCycle - p0) / d
			if b1 >= 0 && b1 <= n {
				edgeS[b1] = (float64(i) + u) / float64(t.RateHz)
			}
			for j := range ks {
				e := prev[j] + (cur[j]-prev[j])*complex(u, 0)
				if b0 >= 0 && b0 < n {
					sums[j][b0] += (prev[j] + e) * complex(d*u/2, 0)
				}
				if b1 >= 0 && b1 < n {
					sums[j][b1] += (e + cur[j]) * complex(d*(1-u)/2, 0)
				}
			}
		}
		prev, cur = cur, prev
	}
	m := n - 2*blocksPerCycle + 2
	for j := range sums {
		once := slide(sums[j])
		twice := slide(once)
		for i := range twice {
			twice[i] /= blocksPerCycle
		}
		out.z = append(out.z, twice[:m])
	}
	out.timeS = make([]float64, m)
	for i := range out.timeS {
		// The two averages span blocks i .. i+2·8-2: their centre.
		out.timeS[i] = (edgeS[i+blocksPerCycle-1] + edgeS[i+blocksPerCycle]) / 2
	}
	return out
}

// slide returns the sums of blocksPerCycle neighbours.
func slide(x []complex128) []complex128 {
	out := make([]complex128, len(x)-blocksPerCycle+1)
	for i := range out {
		var s complex128
		for _, v := range x[i : i+blocksPerCycle] {
			s += v
		}
		out[i] = s
	}
	return out
}
