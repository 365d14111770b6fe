package peak

import "math"

// tally is what one pass over a chunk finds, apart from the block maxima.
type tally struct {
	top       float64 // largest magnitude; +Inf or NaN bits if a sample is so
	sum, sum2 float64
}

// scan writes the largest magnitude of every 8 samples of x to tops and
// returns those of the whole. len(x) must be 8·len(tops). Magnitudes are
// compared as integers, which order the same and need no branch.
func scan(x, tops []float64) tally {
	const sign = 1 << 63
	var a0, a1, a2, a3 float64 // lanes by place in the chunk, so that
	var q0, q1, q2, q3 float64 // the result does not depend on blocks
	var top uint64
	for b := range tops {
		v := (*[stride]float64)(x[b*stride:])
		m := max(
			max(max(math.Float64bits(v[0])&^sign, math.Float64bits(v[1])&^sign), max(math.Float64bits(v[2])&^sign, math.Float64bits(v[3])&^sign)),
			max(max(math.Float64bits(v[4])&^sign, math.Float64bits(v[5])&^sign), max(math.Float64bits(v[6])&^sign, math.Float64bits(v[7])&^sign)))
		tops[b] = math.Float64frombits(m)
		top = max(top, m)
		a0 += v[0] + v[4]
		a1 += v[1] + v[5]
		a2 += v[2] + v[6]
		a3 += v[3] + v[7]
		q0 += v[0]*v[0] + v[4]*v[4]
		q1 += v[1]*v[1] + v[5]*v[5]
		q2 += v[2]*v[2] + v[6]*v[6]
		q3 += v[3]*v[3] + v[7]*v[7]
	}
	return tally{math.Float64frombits(top), (a0 + a1) + (a2 + a3), (q0 + q1) + (q2 + q3)}
}
