package peak

import "math"

const (
	factor = 4  // oversampling
	taps   = 49 // at the fourfold rate
	reach  = 6  // samples on each side of a gap that a value in it depends on
	stride = 8  // samples in a block of the pruning
)

// hann49 is the impulse response at a distance of t samples from its centre.
func hann49(t float64) float64 {
	x := math.Pi * t
	return math.Sin(x) / x * 0.5 * (1 + math.Cos(2*math.Pi*factor*t/(taps-1)))
}

// Weights of the sample pairs around a gap, nearest first. With s and d the sum
// and difference of a pair, the value in the middle of the gap is Σ mid·s, and
// those at its quarters are Σ even·s ± Σ odd·d.
var mid, even, odd [reach]float64

// Bounds of a value in a gap: near weighs the nearest pair, far the largest
// magnitude among all the others. gain is the bound from the largest magnitude
// alone.
var bound struct {
	mid, even, odd  float64 // on |s|, |s|, |d| of the nearest pair
	farMid, farSide float64
	gain            float64
}

// slack covers the rounding of the sums, which is under 1e-14 of the bound.
const slack = 1 + 1e-12

func init() {
	for k := range reach {
		quarter, third := hann49(float64(k)+0.25), hann49(float64(k)+0.75)
		mid[k] = hann49(float64(k) + 0.5)
		even[k] = (quarter + third) / 2
		odd[k] = (quarter - third) / 2
		if k > 0 {
			bound.farMid += 2 * math.Abs(mid[k])
			bound.farSide += math.Abs(quarter) + math.Abs(third)
		}
	}
	bound.mid = math.Abs(mid[0]) * slack
	bound.even, bound.odd = math.Abs(even[0])*slack, math.Abs(odd[0])*slack
	bound.farMid *= slack
	bound.farSide *= slack
	nearSide := math.Abs(hann49(0.25)) + math.Abs(hann49(0.75))
	bound.gain = max(2*bound.mid+bound.farMid, nearSide*slack+bound.farSide)
}

// window is the sound around a gap, which lies between x[5] and x[6].
type window = [2 * reach]float64

// inGap returns the value in the middle of a gap and the even and odd part of
// the two at its quarters, which are side+odd and side-odd.
func inGap(x *window) (middle, side, skew float64) {
	s0, d0 := x[5]+x[6], x[5]-x[6]
	s1, d1 := x[4]+x[7], x[4]-x[7]
	s2, d2 := x[3]+x[8], x[3]-x[8]
	s3, d3 := x[2]+x[9], x[2]-x[9]
	s4, d4 := x[1]+x[10], x[1]-x[10]
	s5, d5 := x[0]+x[11], x[0]-x[11]
	middle = (mid[0]*s0 + mid[1]*s1) + (mid[2]*s2 + mid[3]*s3) + (mid[4]*s4 + mid[5]*s5)
	side = (even[0]*s0 + even[1]*s1) + (even[2]*s2 + even[3]*s3) + (even[4]*s4 + even[5]*s5)
	skew = (odd[0]*d0 + odd[1]*d1) + (odd[2]*d2 + odd[3]*d3) + (odd[4]*d4 + odd[5]*d5)
	return middle, side, skew
}

// raise looks into the eight gaps before x[5]-x[6], x[6]-x[7], ... and returns
// the largest magnitude found above top, with its place in samples after x[5],
// or top and -1. local bounds the magnitude of every sample of x; gaps that it
// rules out are skipped unless all is set.
func raise(x *[stride + 2*reach - 1]float64, top, local float64, all bool) (float64, float64) {
	at := -1.0
	lim := top - bound.farMid*local
	limSide := top - bound.farSide*local
	for i := range stride {
		w := (*window)(x[i:])
		a, b := w[5], w[6]
		s, d := math.Abs(a+b), math.Abs(a-b)
		if !all && s*bound.mid <= lim && s*bound.even+d*bound.odd <= limSide {
			continue
		}
		m, e, o := inGap(w)
		if v := math.Abs(m); v > top {
			top, at = v, float64(i)+0.5
		}
		if v := math.Abs(e) + math.Abs(o); v > top {
			top, at = v, float64(i)+0.25
			if (e > 0) != (o > 0) {
				at += 0.5
			}
		}
	}
	return top, at
}
