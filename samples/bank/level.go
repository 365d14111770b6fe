package bank

import (
	"math"
	"sort"
)

// LevelCurve is the smooth level of a layer over revs: dB on a regular grid
// of ln(RPM), held flat beyond its ends.
type LevelCurve struct {
	ln0, step float64
	db        []float64
}

const (
	levelStep   = 0.01  // grid step, ln(RPM)
	levelSmooth = 0.025 // width of the smoothing, ln(RPM), one sigma
)

// fitLevel makes the curve from the surroundings' level of each grain: means
// in bins of levelStep, straight lines across empty bins, then a Gaussian of
// levelSmooth.
func fitLevel(grains []Grain) LevelCurve {
	lo, hi := grains[0].LnRPM, grains[len(grains)-1].LnRPM
	n := int(math.Ceil((hi-lo)/levelStep)) + 1
	c := LevelCurve{ln0: lo, step: levelStep, db: make([]float64, n)}
	sum, count := make([]float64, n), make([]float64, n)
	for i := range grains {
		k := int((grains[i].LnRPM-lo)/levelStep + 0.5)
		sum[k] += grains[i].LocalDB
		count[k]++
	}
	var filled []int
	for k := range sum {
		if count[k] > 0 {
			sum[k] /= count[k]
			filled = append(filled, k)
		}
	}
	raw := make([]float64, n)
	for k := range raw {
		j := sort.SearchInts(filled, k)
		switch {
		case j == len(filled):
			raw[k] = sum[filled[j-1]]
		case filled[j] == k || j == 0:
			raw[k] = sum[filled[j]]
		default:
			a, b := filled[j-1], filled[j]
			x := float64(k-a) / float64(b-a)
			raw[k] = sum[a] + x*(sum[b]-sum[a])
		}
	}
	reach := 7 // grid steps: three sigma, near enough
	for k := range c.db {
		var s, w float64
		for d := -reach; d <= reach; d++ {
			g := math.Exp(-0.5 * math.Pow(float64(d)*levelStep/levelSmooth, 2))
			s += g * mirrored(raw, k+d)
			w += g
		}
		c.db[k] = s / w
	}
	return c
}

// mirrored continues a curve beyond its ends by point reflection, so that
// smoothing keeps the slope there.
func mirrored(x []float64, i int) float64 {
	n := len(x) - 1
	switch {
	case i < 0:
		return 2*x[0] - x[min(-i, n)]
	case i > n:
		return 2*x[n] - x[max(2*n-i, 0)]
	}
	return x[i]
}

// At returns the level in dB at ln(RPM).
func (c *LevelCurve) At(lnRPM float64) float64 {
	x := (lnRPM - c.ln0) / c.step
	n := len(c.db) - 1
	if x <= 0 {
		return c.db[0]
	}
	if x >= float64(n) {
		return c.db[n]
	}
	i := int(x)
	return c.db[i] + (x-float64(i))*(c.db[i+1]-c.db[i])
}
