package defect

import "math"

// Clicks that drown in the second difference of the sound around them may stand
// out once its predictable part is taken away. That costs some 0.1 ms, so it is
// done only where the second difference is the largest of its neighbourhood, and
// not again within a few milliseconds. At low rates a consonant looks the same
// as a click and it is not done at all.
const (
	hiddenTicks  = 8      // the second difference must be the largest within so many ticks
	hiddenOver   = 1.3    // by this ratio
	hiddenRest   = 4      // ticks between two tries
	hiddenCrest  = 12.0   // residual over its mean magnitude elsewhere
	hiddenOnset  = 1.8    // mean magnitude after over before, at most
	hiddenNearS  = 0.0006 // the click itself
	hiddenAsideS = 0.0025 // what is nearer than that may ring
	hiddenWidthS = 0.0003 // residuals over hiddenBody of the peak must lie within
	hiddenBody   = 0.3
	hiddenTaps   = 6    // or within so many samples
	hiddenBeside = 3    // samples next to it that may lie on a flat top
	hiddenTop    = 0.02 // share of the local range that counts as its top
)

// hiddenIn looks at the residual of linear prediction around tick at.
func (k *click) hiddenIn(c *channel, at int64) (ratio float64, ok bool) {
	if k.white == nil || at-k.last < hiddenRest || c.at(at).n != int32(k.tickLen) {
		return 0, false
	}
	peak := c.at(at).d2Max
	for d := int64(clickNear); d <= hiddenTicks; d++ {
		if at-d < 0 || at+d >= c.ticks || hiddenOver*max(c.at(at-d).d2Max, c.at(at+d).d2Max) > peak {
			return 0, false
		}
	}
	k.last = at
	centre := k.steepest(at)
	half := int64(k.white.half)
	if centre-half < 0 || centre+half > k.rawAt || centre-half < k.rawAt-int64(len(k.raw)) {
		return 0, false
	}
	x := k.unroll(centre-half, 2*int(half))
	if flatTop(x, int(half)) {
		return 0, false // its corner is told as clipping
	}
	e := k.white.residual(x)
	if e == nil {
		return 0, false
	}
	return standsAlone(e, int(half), float64(k.tickLen)*1000, k.hidden)
}

// steepest returns the frame with the largest second difference in tick at.
func (k *click) steepest(at int64) int64 {
	mask := int64(len(k.raw) - 1)
	best, where := -1.0, at*k.tickLen
	for i := max(at*k.tickLen, 2); i < (at+1)*k.tickLen; i++ {
		if d := math.Abs(k.raw[i&mask] - 2*k.raw[(i-1)&mask] + k.raw[(i-2)&mask]); d > best {
			best, where = d, i
		}
	}
	return where
}

// flatTop reports whether the middle of x lies on a flat top: two samples or more
// next to it are at the highest or lowest level of all. A click is one or a step.
func flatTop(x []float64, middle int) bool {
	hi, lo := math.Inf(-1), math.Inf(1)
	for _, v := range x {
		hi, lo = max(hi, v), min(lo, v)
	}
	margin := hiddenTop * (hi - lo)
	high, low := 0, 0
	for _, v := range x[middle-hiddenBeside : middle+hiddenBeside+1] {
		if v >= hi-margin {
			high++
		}
		if v <= lo+margin {
			low++
		}
	}
	return max(high, low) >= 2
}

// unroll copies n samples from frame from out of the ring.
func (k *click) unroll(from int64, n int) []float64 {
	x := k.white.around[:n]
	at := int(from) & (len(k.raw) - 1)
	m := copy(x, k.raw[at:])
	copy(x[m:], k.raw)
	return x
}

// standsAlone reports whether the residual has a short peak in its middle and
// nothing elsewhere that reaches 1/need of it.
func standsAlone(e []float64, middle int, rateHz, need float64) (ratio float64, ok bool) {
	near, aside := int(hiddenNearS*rateHz), int(hiddenAsideS*rateHz)
	top, at := 0.0, middle
	for i := middle - near; i <= middle+near; i++ {
		if v := math.Abs(e[i]); v > top {
			top, at = v, i
		}
	}
	var rest, before, after float64
	for i := whitenOrder; i < len(e); i++ {
		v := math.Abs(e[i])
		switch {
		case i < middle-aside:
			before += v
		case i > middle+aside:
			after += v
		default:
			continue
		}
		rest = max(rest, v)
	}
	before /= float64(middle - aside - whitenOrder)
	after /= float64(len(e) - middle - aside - 1)
	if top < need*rest || top < hiddenCrest*max(before, after) || after > hiddenOnset*before {
		return 0, false
	}
	first, last := at, at
	for i := middle - aside; i <= middle+aside; i++ {
		if math.Abs(e[i]) > hiddenBody*top {
			first, last = min(first, i), max(last, i)
		}
	}
	if last-first > max(int(hiddenWidthS*rateHz), hiddenTaps) {
		return 0, false
	}
	return top / max(rest, 1e-12), true
}
