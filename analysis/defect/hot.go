package defect

import "math"

// tick holds what the hot loop keeps of about 1 ms of one channel. d1 and d2
// are the first and second differences of the samples; the second one makes
// clicks stand out because sound falls off towards high frequencies and a click
// does not.
type tick struct {
	sum, sq      float64 // Σx, Σx²
	hi, lo       float64 // extremes
	d1Max        float64
	d2Max, d2Sum float64
	n            int32 // samples
	equal        int32 // samples equal to the one before
}

// ac returns the mean power without the mean.
func (t *tick) ac() float64 {
	if t.n == 0 {
		return 0
	}
	m := t.sum / float64(t.n)
	return max(t.sq/float64(t.n)-m*m, 0)
}

// d2Mean returns the mean magnitude of the second difference.
func (t *tick) d2Mean() float64 {
	if t.n == 0 {
		return 0
	}
	return t.d2Sum / float64(t.n)
}

// measure fills t from x, whose first two samples are those before the tick.
//
// The magnitudes of the differences are compared as bits: the bits of
// non-negative floats order like integers, and integers have a conditional
// move where floats have a branch that is hard to predict.
func measure(x []float64, t *tick) {
	const sign = 1 << 63
	p, d := x[1], x[1]-x[0]
	x = x[2:]
	hi, lo := x[0], x[0]
	var sum, sq, d2Sum float64
	var d1Max, d2Max uint64
	var equal int32
	for _, v := range x {
		sum += v
		sq += v * v
		if v > hi {
			hi = v
		}
		if v < lo {
			lo = v
		}
		d1 := v - p
		d2 := d1 - d
		p, d = v, d1
		b1 := math.Float64bits(d1) &^ sign
		b2 := math.Float64bits(d2) &^ sign
		if b1 == 0 {
			equal++
		}
		if b1 > d1Max {
			d1Max = b1
		}
		if b2 > d2Max {
			d2Max = b2
		}
		d2Sum += math.Abs(d2)
	}
	*t = tick{
		sum: sum, sq: sq, hi: hi, lo: lo, d1Max: math.Float64frombits(d1Max), d2Max: math.Float64frombits(d2Max),
		d2Sum: d2Sum, n: int32(len(x)), equal: equal,
	}
}

// foldDown writes the weighted sum of the channels to dst and returns the
// largest magnitude, where it is, and the sum of squares. chans[c][i] is sample
// i of channel c; all are at least as long as dst.
func foldDown(dst []float64, chans [][]float64, weights []float64) (peak float64, at int, sq float64) {
	if len(chans) == 2 {
		w0, w1 := weights[0], weights[1]
		l, r := chans[0][:len(dst)], chans[1][:len(dst)]
		for i := range dst {
			dst[i] = w0*l[i] + w1*r[i]
		}
	} else {
		for i := range dst {
			dst[i] = weights[0] * chans[0][i]
		}
		for c := 1; c < len(chans); c++ {
			w, x := weights[c], chans[c][:len(dst)]
			if w == 0 {
				continue
			}
			for i := range dst {
				dst[i] += w * x[i]
			}
		}
	}
	for i, v := range dst {
		sq += v * v
		if v = math.Abs(v); v > peak {
			peak, at = v, i
		}
	}
	return peak, at, sq
}

// dotProduct returns Σ a·b over the length of a.
func dotProduct(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	i := 0
	for ; i+4 <= len(a); i += 4 {
		s0 += a[i] * b[i]
		s1 += a[i+1] * b[i+1]
		s2 += a[i+2] * b[i+2]
		s3 += a[i+3] * b[i+3]
	}
	for ; i < len(a); i++ {
		s0 += a[i] * b[i]
	}
	return s0 + s1 + s2 + s3
}
