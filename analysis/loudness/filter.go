package loudness

import "math"

// Prototype of the two K-weighting stages. These values reproduce all ten
// coefficients of BS.1770-5 Annex 1, Tables 1 and 2, at 48 kHz to 1e-15.
const (
	shelfHz     = 1681.974450955533
	shelfGainDB = 3.999843853973347
	shelfQ      = 0.7071752369554196
	shelfSlope  = 0.4996667741545416 // exponent of the band gain Vb = Vh^slope
	cutHz       = 38.13547087602444
	cutQ        = 0.5003270373238773
)

// weighting holds the K-weighting for one rate, normalised to a0 = 1:
// y[n] = b0·x[n] + b1·x[n-1] + b2·x[n-2] - a1·y[n-1] - a2·y[n-2].
type weighting struct {
	b0, b1, b2, a1, a2 float64 // stage 1, the shelf
	c1, c2             float64 // stage 2, a1 and a2 of the high-pass; numerator [1, -2, 1]
}

func newWeighting(rateHz float64) weighting {
	k := math.Tan(math.Pi * shelfHz / rateHz)
	vh := math.Pow(10, shelfGainDB/20)
	vb := math.Pow(vh, shelfSlope)
	d := 1 + k/shelfQ + k*k
	w := weighting{
		b0: (vh + vb*k/shelfQ + k*k) / d,
		b1: 2 * (k*k - vh) / d,
		b2: (vh - vb*k/shelfQ + k*k) / d,
		a1: 2 * (k*k - 1) / d,
		a2: (1 - k/shelfQ + k*k) / d,
	}
	k = math.Tan(math.Pi * cutHz / rateHz)
	d = 1 + k/cutQ + k*k
	w.c1 = 2 * (k*k - 1) / d
	w.c2 = (1 - k/cutQ + k*k) / d
	return w
}
