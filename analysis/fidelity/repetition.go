package fidelity

import "math"

const (
	repeatFromS  = 0.05
	repeatToS    = 3.0
	localCycles  = 8    // cycles on each side that make the local mean
	frozenDB     = -20  // residual this far under the source's: the same cycle again
	frozenRatio  = 1e-6 // without a source: residual 60 dB under the cycle
	fewestPairs  = 8
	twinSoonS    = 1.0
	twinRho      = 0.9
	repeatTopHz  = 4000 // cycles are kept up to about this frequency
	fewestPoints = 64
	mostPoints   = 512
)

// RepetitionResult tells how alike the cycle-to-cycle differences are at a
// distance.
type RepetitionResult struct {
	Max      float64 // largest mean correlation over lags of whole cycles, 0.05–3 s
	AtLagS   float64
	AtCycles int
	// ResidualDB is the power of what differs from the local mean cycle,
	// re the power of the cycles.
	ResidualDB float64
	// TwinShare is the share of cycles whose residual correlates above 0.9
	// with one 0.05 to 1 s before.
	TwinShare float64
}

// Repetition cuts a take into engine cycles in the crank-angle domain, takes
// from each the mean of its neighbourhood (eight on each side and itself) and
// correlates what is left, differentiated and normalised, at lags of whole
// cycles from 0.05 to 3 s, at most four fifths of the take and at least eight
// pairs a lag. Max is the largest mean over a lag. The differences give the
// many small features of a cycle their say: without them one loud order
// decides, and any two cycles of like strength look alike.
//
// A note without any difference between cycles leaves rounding noise, whose
// correlation means nothing: if the residual lies more than 20 dB under
// sourceResidualDB (NaN if unknown: more than 60 dB under the cycle itself)
// the note counts as frozen and Max is 1. NaN with too few cycles for any
// lag. Engine reference section 4, row iv.
func Repetition(t *Take, sourceResidualDB float64) RepetitionResult {
	nan := math.NaN()
	r := RepetitionResult{Max: nan, AtLagS: nan, ResidualDB: nan, TwinShare: nan}
	if !t.usable(2*localCycles + 1) {
		return r
	}
	hz := t.CycleHz()
	points := fewestPoints
	for points < mostPoints && float64(points)*hz < 2*repeatTopHz {
		points *= 2
	}
	cycles, timeS := t.cycleMatrix(points)
	var total float64
	for _, c := range cycles {
		total += meanSquare(c) / float64(len(cycles))
	}
	res := residuals(cycles)
	var left float64
	for _, c := range res {
		left += meanSquare(c) / float64(len(res))
	}
	emphasise(res)
	norms := make([]float64, len(res))
	for i, c := range res {
		norms[i] = math.Sqrt(dot(c, c))
	}
	if total == 0 {
		return r
	}
	r.ResidualDB = 10 * math.Log10(left/total)
	least := 10 * math.Log10(frozenRatio)
	if !math.IsNaN(sourceResidualDB) && !math.IsInf(sourceResidualDB, 0) {
		least = math.Max(least, sourceResidualDB+frozenDB)
	}
	from, to := max(1, int(math.Ceil(repeatFromS*hz))), int(math.Floor(repeatToS*hz))
	to = min(to, len(res)-fewestPairs, len(res)*4/5) // few pairs correlate by chance
	if to < from {
		return r
	}
	if r.ResidualDB < least {
		r.Max, r.TwinShare, r.AtCycles, r.AtLagS = 1, 1, from, float64(from)/hz
		return r
	}
	twin := make([]bool, len(res))
	r.Max = math.Inf(-1)
	for lag := from; lag <= to; lag++ {
		var sum float64
		n := 0
		for i := lag; i < len(res); i++ {
			d := norms[i] * norms[i-lag]
			if d == 0 {
				continue
			}
			rho := dot(res[i], res[i-lag]) / d
			sum, n = sum+rho, n+1
			if rho > twinRho && timeS[i]-timeS[i-lag] <= twinSoonS {
				twin[i] = true
			}
		}
		if n >= fewestPairs && sum/float64(n) > r.Max {
			r.Max, r.AtCycles, r.AtLagS = sum/float64(n), lag, float64(lag)/hz
		}
	}
	if math.IsInf(r.Max, 0) {
		r.Max = nan
	}
	twins := 0
	for _, b := range twin {
		if b {
			twins++
		}
	}
	r.TwinShare = float64(twins) / float64(len(twin))
	return r
}

// residuals returns each cycle minus the mean of its neighbourhood.
func residuals(cycles [][]float64) [][]float64 {
	m := len(cycles[0])
	out := make([][]float64, len(cycles))
	flat := make([]float64, m*len(cycles))
	sum := make([]float64, m)
	lo, hi := 0, 0 // sum covers lo..hi
	for i := range cycles {
		a, b := max(0, i-localCycles), min(len(cycles), i+localCycles+1)
		for ; hi < b; hi++ {
			for k, v := range cycles[hi] {
				sum[k] += v
			}
		}
		for ; lo < a; lo++ {
			for k, v := range cycles[lo] {
				sum[k] -= v
			}
		}
		out[i] = flat[i*m : (i+1)*m]
		for k, v := range cycles[i] {
			out[i][k] = v - sum[k]/float64(b-a)
		}
	}
	return out
}

// emphasise replaces each residual by its differences from point to point,
// in place; the first point is dropped to zero.
func emphasise(res [][]float64) {
	for _, c := range res {
		for k := len(c) - 1; k > 0; k-- {
			c[k] -= c[k-1]
		}
		c[0] = 0
	}
}

func dot(a, b []float64) float64 {
	var s0, s1, s2, s3 float64
	b = b[:len(a)]
	i := 0
	for ; i+3 < len(a); i += 4 {
		s0 += a[i] * b[i]
		s1 += a[i+1] * b[i+1]
		s2 += a[i+2] * b[i+2]
		s3 += a[i+3] * b[i+3]
	}
	for ; i < len(a); i++ {
		s0 += a[i] * b[i]
	}
	return s0 + s1 + s2 + s3
}
