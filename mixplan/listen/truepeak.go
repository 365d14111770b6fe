package listen

import "math"

// True peaks as analysis/peak reads them (ITU-R BS.1770-5 Annex 2, fourfold,
// a sinc of 49 taps under a Hann window), but frame by frame: what a limiter
// has to know and a meter over everything cannot tell.

const (
	reach = 6 // frames on each side of a gap that a value in it depends on
	group = 16
)

var weights = func() (w [3][2 * reach]float64) {
	for q := range w {
		for k := range w[q] {
			t := math.Abs(float64(q+1)/4 - float64(k-reach+1)) // distance from frame k of the window
			x := math.Pi * t
			w[q][k] = math.Sin(x) / x * 0.5 * (1 + math.Cos(math.Pi*t/reach))
		}
	}
	return w
}()

// mostGain bounds a value in a gap by the largest frame near it.
var mostGain = func() float64 {
	most := 0.0
	for _, w := range weights {
		sum := 0.0
		for _, v := range w {
			sum += math.Abs(v)
		}
		most = max(most, sum)
	}
	return most * (1 + 1e-12)
}()

// gaps looks into the gaps between the frames of one channel.
type gaps struct {
	buf [2*reach - 1 + chunkFrames]float64 // the past, then the chunk
}

// raise lifts dst[i] to the largest magnitude of frame i-6 and of the gap
// behind it, for up to chunkFrames frames x; 6 frames late. Magnitudes that
// are certainly not over least may be left out.
func (g *gaps) raise(dst, x []float64, least float64) {
	const past = 2*reach - 1
	copy(g.buf[past:], x)
	for from := 0; from < len(x); from += group {
		n := min(group, len(x)-from)
		window := g.buf[from : from+n+past]
		top := 0.0
		for _, v := range window {
			top = max(top, math.Abs(v))
		}
		if top*mostGain <= least {
			continue
		}
		for i := range n {
			w := (*[2 * reach]float64)(window[i:])
			most := math.Abs(w[reach-1])
			for q := range weights {
				h := &weights[q]
				a := h[0]*w[0] + h[1]*w[1] + h[2]*w[2] + h[3]*w[3]
				b := h[4]*w[4] + h[5]*w[5] + h[6]*w[6] + h[7]*w[7]
				c := h[8]*w[8] + h[9]*w[9] + h[10]*w[10] + h[11]*w[11]
				most = max(most, math.Abs(a+b+c))
			}
			dst[from+i] = max(dst[from+i], most)
		}
	}
	copy(g.buf[:past], g.buf[len(x):len(x)+past])
}
