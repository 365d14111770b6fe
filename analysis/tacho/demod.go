package tacho

import (
	"math"
	"math/cmplx"
)

// blockS is the grain of the demodulation: products with the carriers are
// summed over blocks this long, windows are laid over blocks.
const blockS = 0.0025

// orders holds the sound demodulated along a phase: for every multiple of
// half an engine cycle one complex value per block. Even multiples are the
// orders an engine can have; odd ones are the gaps between them, which tell
// the noise at the same place.
type orders struct {
	blockLen int
	half     int // number of half-cycle multiples, 1..half
	z        [][]complex128
	flat     []complex128 // all of z
	power    []float64    // per block, sum of squares
	mid      []float64    // phase at each block's middle
}

// demodulate runs x against the carriers exp(-jπmφ), m = 1..half, where
// phase holds φ in engine cycles for each sample. Orders above limit (cycles
// per sample) are left out block by block: they stay 0. The result uses the
// memory of reuse, the outcome of an earlier call that is no longer needed,
// which may be nil.
func demodulate(x []complex128, phase []float64, rateHz float64, half int, limit float64, reuse *orders) *orders {
	o := &orders{blockLen: max(1, int(math.Round(blockS*rateHz))), half: half}
	blocks := len(x) / o.blockLen
	o.z = make([][]complex128, half)
	if reuse != nil && cap(reuse.flat) >= half*blocks {
		o.flat = reuse.flat[:half*blocks]
		clear(o.flat)
	} else {
		o.flat = make([]complex128, half*blocks)
	}
	for m := range o.z {
		o.z[m] = o.flat[m*blocks : (m+1)*blocks]
	}
	o.power, o.mid = make([]float64, blocks), make([]float64, blocks)
	base, turn := make([]complex128, o.blockLen), make([]complex128, o.blockLen)
	for b := range blocks {
		from := b * o.blockLen
		ph := phase[from : from+o.blockLen]
		o.mid[b] = (ph[0] + ph[len(ph)-1]) / 2
		for i, p := range ph {
			sin, cos := math.Sincos(-math.Pi * math.Mod(p, 2))
			base[i] = complex(cos, sin)
			v := real(x[from+i])
			o.power[b] += v * v
			turn[i] = complex(v, 0)
		}
		top := half
		if rate := (ph[len(ph)-1] - ph[0]) / math.Max(1, float64(len(ph)-1)); rate > 0 {
			top = min(half, int(2*limit/rate))
		}
		for m := range top {
			o.z[m][b] = advance(turn, base)
		}
	}
	return o
}

// advance multiplies turn by base, place by place, and returns the sum: one
// more half-cycle multiple each time. This is the tracker's innermost loop.
func advance(turn, base []complex128) complex128 {
	var re, im float64
	base = base[:len(turn)]
	for i, t := range turn {
		b := base[i]
		r := real(t)*real(b) - imag(t)*imag(b)
		j := real(t)*imag(b) + imag(t)*real(b)
		turn[i] = complex(r, j)
		re += r
		im += j
	}
	return complex(re, im)
}

// windowed is the demodulated sound under one Hann window per result point.
type windowed struct {
	z     [][]complex128 // per half-cycle multiple, per point
	power []float64      // energy of the sound under the window, per point
}

// at lays a Hann window of cyclesAt(point) engine cycles around every result
// point, points being hopBlocks blocks apart, and sums. With 4 cycles or
// more the window is blind to the neighbouring orders and, from 4 up, to the
// gaps' lines half a cycle off.
func (o *orders) at(points int, hopS, rateHz float64, widthCycles func(hz float64) float64) windowed {
	w := windowed{z: make([][]complex128, o.half), power: make([]float64, points)}
	flat := make([]complex128, o.half*points)
	for m := range w.z {
		w.z[m] = flat[m*points : (m+1)*points]
	}
	blocks := len(o.mid)
	if blocks < 2 {
		return w
	}
	blockDur := float64(o.blockLen) / rateHz
	var weights []float64
	for p := range points {
		pos := float64(p)*hopS/blockDur - 0.5
		k := min(max(int(math.Floor(pos)), 0), blocks-2)
		slope := o.mid[k+1] - o.mid[k]
		centre := o.mid[k] + (pos-float64(k))*slope
		half := widthCycles(slope/blockDur) / 2
		lo, hi := k+1, k+1
		for lo > 0 && o.mid[lo-1] > centre-half {
			lo--
		}
		for hi < blocks && o.mid[hi] < centre+half {
			hi++
		}
		weights = weights[:0]
		for b := lo; b < hi; b++ {
			g := 0.5 + 0.5*math.Cos(math.Pi*(o.mid[b]-centre)/half)
			if math.Abs(o.mid[b]-centre) >= half {
				g = 0
			}
			weights = append(weights, g)
			w.power[p] += g * o.power[b]
		}
		for m, z := range o.z {
			var re, im float64
			for i, v := range z[lo:hi] {
				g := weights[i]
				re += g * real(v)
				im += g * imag(v)
			}
			w.z[m][p] = complex(re, im)
		}
	}
	return w
}

// squared returns |v|².
func squared(v complex128) float64 { return real(v)*real(v) + imag(v)*imag(v) }

// turnBetween returns the angle from a to b in turns, -0.5..0.5.
func turnBetween(a, b complex128) float64 {
	return cmplx.Phase(b*cmplx.Conj(a)) / (2 * math.Pi)
}
