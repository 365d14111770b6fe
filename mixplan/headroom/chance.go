package headroom

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Over returns the share of time that a Gaussian sound spends beyond k times
// its RMS, erfc(k/√2): what the sum of many sources tends to.
func Over(k float64) float64 { return math.Erfc(k / math.Sqrt2) }

// AtLeast returns the probability that k or more of n voices sound at once,
// each for the share d of the time and independent of the others.
func AtLeast(n, k int, d float64) float64 {
	sum := 0.0
	b := distuv.Binomial{N: float64(n), P: d}
	for j := max(k, 0); j <= n; j++ {
		sum += b.Prob(float64(j))
	}
	return sum
}

// Interval returns the exact 95 % interval of the mean of a Poisson count.
func Interval(count int) (lo, hi float64) {
	if count > 0 {
		lo = distuv.ChiSquared{K: 2 * float64(count)}.Quantile(0.025) / 2
	}
	return lo, distuv.ChiSquared{K: 2*float64(count) + 2}.Quantile(0.975) / 2
}
