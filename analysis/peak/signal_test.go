package peak

import (
	"math"
	"testing"
)

func measure(t testing.TB, rateHz int, all bool, block ...[]float64) Result {
	t.Helper()
	m, err := New(rateHz, len(block))
	if err != nil {
		t.Fatal(err)
	}
	for c := range m.chans {
		m.chans[c].all = all
	}
	m.Write(block)
	return m.Result()
}

func truePeakDB(t testing.TB, x []float64) float64 {
	t.Helper()
	db, ok := measure(t, 48000, false, x).TruePeakDBTP()
	if !ok {
		t.Fatal("silent")
	}
	return db
}

// fade applies linear fades of n samples to both ends, in place.
func fade(x []float64, n int) []float64 {
	for i := range n {
		g := float64(i) / float64(n)
		x[i] *= g
		x[len(x)-1-i] *= g
	}
	return x
}

// convolved is true peak the slow way, from the formula libebur128 uses: zero
// stuffing to the fourfold rate, then 49 taps.
func convolved(x []float64) float64 {
	var h [49]float64
	for j := range h {
		t := math.Pi * float64(j-24) / 4
		h[j] = 0.5 * (1 - math.Cos(2*math.Pi*float64(j)/48))
		if j != 24 {
			h[j] *= math.Sin(t) / t
		}
	}
	var top float64
	for n := range 4*len(x) + len(h) {
		var y float64
		for j := n % 4; j < len(h); j += 4 {
			if k := (n - j) / 4; n >= j && k < len(x) {
				y += h[j] * x[k]
			}
		}
		top = max(top, math.Abs(y))
	}
	return top
}

// burst is the signal of Tech 3341 cases 20-23, after the recipe of the levels
// reference: 0.5·sin with 24 samples a period at four times the rate, one
// period of 1.0·sin with 16 from an up-going zero crossing, 0.5·sin again;
// low-passed at half the rate (Kaiser window, beta 8, 511 taps) and every
// fourth sample taken from offset on.
func burst(offset int) []float64 {
	const before, after = 24 * 400, 24 * 400
	var x []float64
	for i := range before {
		x = append(x, 0.5*math.Sin(2*math.Pi*float64(i)/24))
	}
	for i := range 16 {
		x = append(x, math.Sin(2*math.Pi*float64(i)/16))
	}
	for i := range after {
		x = append(x, 0.5*math.Sin(2*math.Pi*float64(i)/24))
	}
	fade(x, 4*480)
	h := make([]float64, 511)
	for j := range h {
		t := float64(j - 255)
		h[j] = 0.25
		if t != 0 {
			h[j] = math.Sin(math.Pi*t/4) / (math.Pi * t)
		}
		h[j] *= bessel0(8*math.Sqrt(1-t*t/255/255)) / bessel0(8)
	}
	var out []float64
	for n := offset; n < len(x); n += 4 {
		var y float64
		for j, c := range h {
			if k := n + 255 - j; k >= 0 && k < len(x) {
				y += c * x[k]
			}
		}
		out = append(out, y)
	}
	return out
}

// bessel0 is the modified Bessel function of the first kind, order 0.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x * x / 4 / (k * k)
		sum += term
	}
	return sum
}
