package defect

import "math"

// whitener takes the predictable part out of the sound around a suspicious
// place, by linear prediction (autocorrelation method, Levinson-Durbin; Makhoul,
// "Linear prediction: a tutorial review", 1975). What is left of voices, engines
// and chords is small and even; a broken sample stands in it unchanged. The
// predictor is learnt from both sides of the place without the place itself.
type whitener struct {
	half   int // samples on each side
	gap    int // samples on each side of the place that are not learnt from
	work   []float64
	fade   []float64
	left   []float64
	around []float64 // room for the samples around a place
	r, a   [whitenOrder + 1]float64
	t      [whitenOrder + 1]float64
}

const (
	whitenOrder = 24
	whitenHalfS = 0.022
	whitenGapS  = 0.001
)

func newWhitener(rateHz float64) *whitener {
	w := &whitener{half: int(whitenHalfS * rateHz), gap: int(whitenGapS * rateHz)}
	n := w.half - w.gap
	w.work, w.left, w.around = make([]float64, n), make([]float64, 2*w.half), make([]float64, 2*w.half)
	w.fade = make([]float64, n)
	for i := range w.fade {
		w.fade[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
	}
	return w
}

// residual returns what the prediction leaves of x, which holds half samples on
// each side of the place. The first whitenOrder values are zero. The result is
// valid until the next call; nil if x is silent.
func (w *whitener) residual(x []float64) []float64 {
	clear(w.r[:])
	w.learn(x[:w.half-w.gap])
	w.learn(x[w.half+w.gap:])
	if !w.solve() {
		return nil
	}
	clear(w.left[:whitenOrder])
	for i := whitenOrder; i < len(x); i++ {
		e := x[i]
		for k := 1; k <= whitenOrder; k++ {
			e += w.a[k] * x[i-k]
		}
		w.left[i] = e
	}
	return w.left
}

// learn adds the autocorrelation of x under the window.
func (w *whitener) learn(x []float64) {
	for i, f := range w.fade {
		w.work[i] = f * x[i]
	}
	for k := range w.r {
		w.r[k] += dotProduct(w.work[:len(w.work)-k], w.work[k:])
	}
}

// solve finds the predictor by Levinson's recursion.
func (w *whitener) solve() bool {
	err := w.r[0] * (1 + 1e-9) // a floor 90 dB under the sound keeps it well conditioned
	if err <= 0 {
		return false
	}
	clear(w.a[:])
	w.a[0] = 1
	for m := 1; m <= whitenOrder; m++ {
		k := w.r[m]
		for i := 1; i < m; i++ {
			k += w.a[i] * w.r[m-i]
		}
		k = -k / err
		copy(w.t[:], w.a[:])
		for i := 1; i < m; i++ {
			w.a[i] = w.t[i] + k*w.t[m-i]
		}
		w.a[m] = k
		if err *= 1 - k*k; err <= 0 {
			return false
		}
	}
	return true
}
