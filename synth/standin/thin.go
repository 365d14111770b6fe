package standin

import "math"

// thinner takes every over-th sample after a low-pass (Kaiser window, 80 dB,
// pass band to 0.42 of the outer rate). With over = 1 it is a wire.
type thinner struct {
	over, half int
	fir        []float64
	past       [][]float64
	at         int
}

func newThinner(over, channels int) *thinner {
	t := &thinner{over: over, fir: []float64{1}}
	if over > 1 {
		const beta = 7.857 // Kaiser: 80 dB
		t.half = 32 * over
		t.fir = make([]float64, 2*t.half+1)
		sum := 0.0
		for i := range t.fir {
			x := float64(i-t.half) / float64(t.half)
			w := bessel0(beta*math.Sqrt(max(0, 1-x*x))) / bessel0(beta)
			t.fir[i] = w * sinc(0.92*float64(i-t.half)/float64(over))
			sum += t.fir[i]
		}
		for i := range t.fir {
			t.fir[i] /= sum
		}
	}
	for range channels {
		t.past = append(t.past, make([]float64, len(t.fir)))
	}
	return t
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// bessel0 is the modified Bessel function I0 by its power series.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-12*sum; k++ {
		term *= x * x / (4 * k * k)
		sum += term
	}
	return sum
}

func (t *thinner) push(c int, v float64) { t.past[c][t.at] = v }

// move goes on to the next inner sample.
func (t *thinner) move() {
	if t.at++; t.at == len(t.fir) {
		t.at = 0
	}
}

// read filters around the sample half back.
func (t *thinner) read(c int) float64 {
	past := t.past[c]
	if len(past) == 1 {
		return past[0]
	}
	y := 0.0
	k := t.at
	for _, w := range t.fir {
		y += w * past[k]
		if k--; k < 0 {
			k = len(past) - 1
		}
	}
	return y
}
