package tacho

import (
	"math"

	"tachbench/samples/crank"
)

// Revs are reported where the confidence reaches enterConfidence, and on
// from there as long as it stays above stayConfidence. Stretches shorter
// than shortestS and two engine cycles are dropped.
const (
	enterConfidence = 0.5
	stayConfidence  = 0.3
	shortestS       = 0.12
)

// confidences tells for each point how much of what lies on the orders is
// not noise: the mean over the layout's strong orders of (line - gap) over
// (line + gap), mapped so that chance gives 0 and a clean engine 1.
func confidences(r refined, l crank.Layout, hopS float64) []float64 {
	points := len(r.cycleHz)
	num, den, sq := make([]float64, points), make([]float64, points), make([]float64, points)
	for m := 1; m+1 < len(r.last.z); m += 2 {
		k := float64(m+1) / 2
		a := l.OrderAmplitude(k / l.RevsPerCycle())
		weight := a * a / (1 + k/float64(max(8, 2*l.Cylinders)))
		if weight < 1e-6 {
			continue
		}
		for p := range points {
			if m+1 >= r.reach[p] {
				continue
			}
			line := squared(r.last.z[m][p])
			gap := (squared(r.last.z[m-1][p]) + squared(r.last.z[m+1][p])) / 2
			num[p] += weight * (line - gap) / (line + gap + gapFloor*r.last.power[p] + 1e-30)
			den[p] += weight
			sq[p] += weight * weight
		}
	}
	for p := range num {
		if den[p] > 0 {
			// In noise each ratio is spread evenly over -1..1 (SD 0.58); the
			// fewer orders there are, the more often chance lines them up,
			// and the path has chosen the best of many chances.
			num[p] = num[p]/den[p] - 0.7*math.Sqrt(sq[p])/den[p]
		}
	}
	out := boxMean(num, int(math.Round(0.1/hopS)))
	for p, v := range out {
		out[p] = math.Min(1, math.Max(0, v/0.45))
	}
	return out
}

// stretches marks the points that have revs.
func stretches(conf, cycleHz []float64, hopS float64) []bool {
	on := make([]bool, len(conf))
	for i := 0; i < len(conf); {
		if conf[i] < stayConfidence {
			i++
			continue
		}
		from, best, cycles := i, 0.0, 0.0
		for i < len(conf) && conf[i] >= stayConfidence {
			best = math.Max(best, conf[i])
			cycles += cycleHz[i] * hopS
			i++
		}
		if best < enterConfidence || cycles < 2 || float64(i-from)*hopS < shortestS {
			continue
		}
		for p := from; p < i; p++ {
			on[p] = true
		}
	}
	return on
}
