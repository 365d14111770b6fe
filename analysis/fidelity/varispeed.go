package fidelity

import "math"

const (
	sincHalf  = 16   // zero crossings on each side
	sincBeta  = 9.0  // Kaiser shape: about 90 dB down
	sincSteps = 1024 // table entries per zero crossing, linear in between
)

// kaiserSinc is the right half of a Kaiser-windowed sinc.
var kaiserSinc = makeKaiserSinc()

func makeKaiserSinc() []float64 {
	h := make([]float64, sincHalf*sincSteps+2)
	for i := range h {
		u := float64(i) / sincSteps
		if u >= sincHalf {
			break
		}
		w := bessel0(sincBeta*math.Sqrt(1-u*u/(sincHalf*sincHalf))) / bessel0(sincBeta)
		s := 1.0
		if i > 0 {
			s = math.Sin(math.Pi*u) / (math.Pi * u)
		}
		h[i] = w * s
	}
	return h
}

// bessel0 is the modified Bessel function I0 by its power series
// Σ ((x/2)^k/k!)², which converges for all x.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x / (2 * k) * x / (2 * k)
		sum += term
	}
	return sum
}

// readAt returns x at a fractional place, band-limited for being read with
// the given step in samples (above 1 the cut-off falls with it). Outside x
// is zero.
func readAt(x []float64, place, step float64) float64 {
	scale := 1 / math.Max(1, step)
	reach := sincHalf / scale
	from, to := max(0, int(math.Ceil(place-reach))), min(len(x)-1, int(math.Floor(place+reach)))
	var sum float64
	for i := from; i <= to; i++ {
		u := math.Abs(float64(i)-place) * scale * sincSteps
		j := int(u)
		f := u - float64(j)
		sum += x[i] * (kaiserSinc[j] + f*(kaiserSinc[j+1]-kaiserSinc[j]))
	}
	return sum * scale
}
