package fidelity

import (
	"math"
	"sort"
)

// Cents returns 1200·log2(ratio), the interval of a frequency ratio.
func Cents(ratio float64) float64 { return 1200 * math.Log2(ratio) }

// quantile returns the q-quantile of x by linear interpolation between order
// statistics (R type 7); NaN for none. x is not changed.
func quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	p := q * float64(len(s)-1)
	i := int(p)
	if i+1 >= len(s) {
		return s[len(s)-1]
	}
	return s[i] + (p-float64(i))*(s[i+1]-s[i])
}

// selectK reorders x and returns its k-th smallest value (quickselect with
// the middle of three as pivot: deterministic).
func selectK(x []float64, k int) float64 {
	lo, hi := 0, len(x)-1
	for lo < hi {
		mid := lo + (hi-lo)/2
		a, b, c := x[lo], x[mid], x[hi]
		p := math.Max(math.Min(a, b), math.Min(math.Max(a, b), c))
		i, j := lo, hi
		for i <= j {
			for x[i] < p {
				i++
			}
			for x[j] > p {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return x[k]
		}
	}
	return x[k]
}

// goodLength returns the largest product of 2, 3 and 5 that is even and not
// above n, a length the transform is quick at; 0 if n < 2.
func goodLength(n int) int {
	for m := n &^ 1; m >= 2; m -= 2 {
		r := m
		for _, p := range []int{2, 3, 5} {
			for r%p == 0 {
				r /= p
			}
		}
		if r == 1 {
			return m
		}
	}
	return 0
}

func meanSquare(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	var s float64
	for _, v := range x {
		s += v * v
	}
	return s / float64(len(x))
}
