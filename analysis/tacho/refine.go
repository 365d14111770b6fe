package tacho

import (
	"math"
	"slices"

	"tachbench/samples/crank"
)

// Passes of the refinement: how many engine orders (multiples of the cycle
// rate) each may use. The first must not trust orders whose phase a path
// error of half a percent already blurs within the window.
var (
	allPasses  = []int{10, 24, 40}
	lastPasses = []int{24, 40} // from a guess that is good already
)

// windowCycles and windowS are the length of the phase window: this many
// engine cycles, but at least this many seconds.
const (
	windowCycles = 4
	windowS      = 0.08
)

// gapFloor is the least power, relative to the sound's own, that a gap is
// taken to have. It keeps digital silence from looking like infinite
// evidence.
const gapFloor = 1e-6

// refined is the outcome of the angle-domain stage on the result's points.
type refined struct {
	cycleHz []float64
	phase   []float64 // engine cycles, 0 at the first point
	last    windowed  // the sound along the final phase
	reach   []int     // per point: highest half-cycle multiple inside the band
}

// refine follows the orders of a first guess of the cycle rate at each
// point, and corrects it.
func refine(sig signal, l crank.Layout, guessHz []float64, hopS float64, passes []int) refined {
	hz := append([]float64(nil), guessHz...)
	points := len(hz)
	var o *orders
	for pass := 0; ; pass++ {
		reach := passes[min(pass, len(passes)-1)]
		reach = max(reach, min(2*l.Cylinders, 48))
		phase := samplePhase(hz, len(sig.z), sig.rateHz, hopS)
		o = demodulate(sig.z, phase, sig.rateHz, 2*reach+1, bandLimit, o)
		w := o.at(points, hopS, sig.rateHz, func(hz float64) float64 { return math.Max(windowCycles, windowS*hz) })
		if pass == len(passes) {
			return newRefined(hz, w, sig.rateHz, hopS)
		}
		step := phaseSteps(w, hz, hopS)
		for p := range hz {
			// step[p] is the turn from p to p+1; a point's rate is the mean
			// of the steps on both sides.
			before, after := step[max(p-1, 0)], step[min(p, len(step)-1)]
			fix := 0.5 * (before + after) / hopS
			hz[p] *= 1 + math.Min(0.03, math.Max(-0.03, fix/hz[p]))
		}
	}
}

// bandLimit is the highest frequency used, in cycles per sample.
const bandLimit = 0.42

func newRefined(hz []float64, w windowed, rateHz, hopS float64) refined {
	r := refined{cycleHz: hz, last: w, phase: make([]float64, len(hz)), reach: make([]int, len(hz))}
	for p := 1; p < len(hz); p++ {
		r.phase[p] = r.phase[p-1] + hopS*(hz[p-1]+hz[p])/2
	}
	for p := range r.reach {
		r.reach[p] = min(len(w.z), int(2*bandLimit*rateHz/hz[p]))
	}
	return r
}

// onPoints brings the path to the points of the result.
func onPoints(pathHz []float64, points int, hopS float64) []float64 {
	hz := make([]float64, points)
	for p := range hz {
		hz[p] = lerp(pathHz, float64(p)*hopS/pathHopS)
	}
	hz = smooth(hz, int(math.Round(0.06/hopS)))
	extendLine(hz, hopS)
	slices.Reverse(hz)
	extendLine(hz, hopS)
	slices.Reverse(hz)
	return hz
}

// extendLine replaces the first edgeS of hz by the line through what
// follows: spectra at the very end of a sound see only one side of it and
// lag behind a ramp.
func extendLine(hz []float64, hopS float64) {
	const edgeS = 0.15
	from, to := int(edgeS/hopS), int(3*edgeS/hopS)
	if from < 1 || to >= len(hz) {
		return
	}
	mid := (from + to) / 2
	var early, late float64
	for p := from; p < mid; p++ {
		early += hz[p] / float64(mid-from)
	}
	for p := mid; p < to; p++ {
		late += hz[p] / float64(to-mid)
	}
	slope := (late - early) / (float64(to-from) / 2)
	if math.Abs(slope)*float64(to) > 0.4*early {
		return // a jump, not a ramp
	}
	for p := range from {
		hz[p] = early + slope*(float64(p)-float64(from+mid-1)/2)
	}
}

// phaseSteps returns for each pair of neighbouring points how many engine
// cycles the sound ran ahead of the assumed phase, from the turns of all
// orders together, each weighted by its own signal-to-gap ratio. Weights
// move slowly, so that the steps add up without wandering off.
func phaseSteps(w windowed, hz []float64, hopS float64) []float64 {
	points := len(hz)
	num, den := make([]float64, points), make([]float64, points)
	line, gap := make([]float64, points), make([]float64, points)
	span := int(math.Round(0.25 / hopS))
	for m := 1; m+1 < len(w.z); m += 2 {
		k := float64(m+1) / 2
		for p := range points {
			line[p] = squared(w.z[m][p])
			gap[p] = (squared(w.z[m-1][p])+squared(w.z[m+1][p]))/2 + gapFloor*w.power[p]
		}
		line, gap := boxMean(line, span), boxMean(gap, span)
		for p := range points - 1 {
			if gap[p] <= 0 {
				continue
			}
			snr := math.Min(100, math.Max(0, line[p]/gap[p]-1.5))
			if snr == 0 {
				continue
			}
			turn := turnBetween(w.z[m][p], w.z[m][p+1])
			num[p] += snr * k * turn
			den[p] += snr * k * k
		}
	}
	step := make([]float64, max(points-1, 1))
	for p := range points - 1 {
		if den[p] > 0 {
			step[p] = num[p] / den[p]
		}
	}
	holdEnds(step, hz, hopS)
	return step
}

// holdEnds lets the steps of the first and last engine cycle, where the
// window is cut by the end of the sound, repeat the nearest whole one.
func holdEnds(step, hz []float64, hopS float64) {
	first, last := 0, len(step)-1
	for cycles := 0.0; first < last && cycles < 1; first++ {
		cycles += hz[first] * hopS
	}
	for cycles := 0.0; last > first && cycles < 1; last-- {
		cycles += hz[last] * hopS
	}
	for p := range step {
		step[p] = step[min(max(p, first), last)]
	}
}

// samplePhase integrates the cycle rate, linear between points, to each
// sample.
func samplePhase(hz []float64, n int, rateHz, hopS float64) []float64 {
	phase := make([]float64, n)
	perPoint := 1 / (hopS * rateHz)
	var sum float64
	prev := hz[0] / rateHz
	for i := 1; i < n; i++ {
		f := lerp(hz, float64(i)*perPoint) / rateHz
		sum += (prev + f) / 2
		phase[i] = sum
		prev = f
	}
	return phase
}

// lerp reads x at a fractional place, held at the ends.
func lerp(x []float64, at float64) float64 {
	k := int(at)
	if at <= 0 {
		return x[0]
	}
	if k >= len(x)-1 {
		return x[len(x)-1]
	}
	return x[k] + (at-float64(k))*(x[k+1]-x[k])
}

// smooth fits a straight line around each point (weights falling linearly
// over half points to each side) and returns its value there. Unlike a
// plain mean it does not bend ramps at the ends.
func smooth(x []float64, half int) []float64 {
	if half < 1 {
		return x
	}
	out := make([]float64, len(x))
	for i := range x {
		var s0, s1, s2, y0, y1 float64
		for d := max(-half, -i); d <= half && i+d < len(x); d++ {
			w := float64(half + 1 - max(d, -d))
			u := float64(d)
			s0, s1, s2 = s0+w, s1+w*u, s2+w*u*u
			y0, y1 = y0+w*x[i+d], y1+w*u*x[i+d]
		}
		det := s0*s2 - s1*s1
		if det <= 0 {
			out[i] = x[i]
			continue
		}
		out[i] = (y0*s2 - y1*s1) / det
	}
	return out
}
