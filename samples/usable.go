package samples

import "math"

// MaxMagnitude is the largest sample magnitude the measures accept: 2^40,
// +241 dB over full scale. Nothing recorded comes near it; beyond it squares
// and filter states stop being trustworthy. NaN, the infinities and anything
// larger are unusable: every meter counts them and measures silence in their
// place, so that one broken sample cannot turn a whole file into NaN.
const MaxMagnitude = 1 << 40

// Usable reports whether v is a finite sample of at most MaxMagnitude.
func Usable(v float64) bool { return v >= -MaxMagnitude && v <= MaxMagnitude }

// FirstUnusable returns the index of the first unusable sample of x, or -1.
func FirstUnusable(x []float64) int {
	const sign = 1 << 63
	limit := math.Float64bits(MaxMagnitude)
	// The bits of magnitudes order like integers, with the infinities and
	// then NaN on top, so one integer comparison finds all of them.
	for i, v := range x {
		if math.Float64bits(v)&^sign > limit {
			return i
		}
	}
	return -1
}

// Scrub copies src to the front of dst with unusable samples set to zero and
// returns how many there were. It panics if dst is shorter than src.
func Scrub(dst, src []float64) int {
	dst = dst[:len(src)]
	n := 0
	for i, v := range src {
		if Usable(v) {
			dst[i] = v
		} else {
			dst[i] = 0
			n++
		}
	}
	return n
}
