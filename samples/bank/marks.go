package bank

import (
	"math"

	"tachbench/samples/crank"
)

// minConfidence is the track confidence from which a point is used.
const minConfidence = 0.3

// take is a recording's mono sound with its running sums, so that the mean
// and the energy of any stretch cost nothing.
type take struct {
	mono   []float64
	rateHz float64
	sum    []float64 // sum[i] = mono[0]+..+mono[i-1]
	power  []float64 // the same of squares
	bands  [bandCount][]float64
}

func newTake(r Recording) *take {
	t := &take{mono: r.Sound.Mono(), rateHz: float64(r.Sound.RateHz)}
	t.sum = make([]float64, len(t.mono)+1)
	t.power = make([]float64, len(t.mono)+1)
	for i, v := range t.mono {
		t.sum[i+1] = t.sum[i] + v
		t.power[i+1] = t.power[i] + v*v
	}
	t.filterBands()
	return t
}

// between returns the running sum at a fractional position, held to the ends.
func between(run []float64, pos float64) float64 {
	if pos <= 0 {
		return run[0]
	}
	i := int(pos)
	if i >= len(run)-1 {
		return run[len(run)-1]
	}
	return run[i] + (pos-float64(i))*(run[i+1]-run[i])
}

// mean returns the mean of a running sum from position a to b, frames.
func mean(run []float64, a, b float64) float64 {
	if b <= a {
		return 0
	}
	return (between(run, b) - between(run, a)) / (b - a)
}

// stretch is an unbroken part of a recording through which the phase is known.
type stretch struct {
	rec    int
	rateHz float64
	frame  []float64 // frames of the track's points
	phase  []float64 // cycles at those points, rising
	offset float64   // cycles to add so that all stretches agree; set by align
	bins   []cycleBin
	first  float64 // RPM range
	last   float64
}

// minCycles is the shortest stretch worth using.
const minCycles = 6

// findStretches splits a track where revs are absent or doubtful.
func findStretches(rec int, t *take, r Recording, layout crank.Layout) []*stretch {
	var out []*stretch
	tr := r.Track
	for i := 0; i < tr.Len(); {
		if !usable(tr, i) {
			i++
			continue
		}
		s := &stretch{rec: rec, rateHz: t.rateHz}
		for ; i < tr.Len() && usable(tr, i); i++ {
			f := tr.TimeS(i) * t.rateHz
			n := len(s.phase)
			if n > 0 && !(tr.Phase[i] > s.phase[n-1]) {
				break // phase must rise: what follows is a new stretch
			}
			s.frame = append(s.frame, f)
			s.phase = append(s.phase, tr.Phase[i])
		}
		s.extend(float64(len(t.mono)))
		if n := len(s.phase); n >= 2 && s.phase[n-1]-s.phase[0] >= minCycles {
			out = append(out, s)
			s.collect(t, layout)
		}
	}
	return out
}

func usable(tr *crank.Track, i int) bool {
	return !math.IsNaN(tr.RPM[i]) && !math.IsNaN(tr.Phase[i]) && tr.Confidence[i] >= minConfidence
}

// extend carries the phase on at its last rate to cover up to 60 ms of sound
// before the first and after the last point of the track, whose windows
// cannot reach the very ends.
func (s *stretch) extend(frames float64) {
	n := len(s.phase)
	if n < 3 {
		return
	}
	hop := (s.frame[n-1] - s.frame[0]) / float64(n-1)
	reach := 6 * hop
	rate0 := (s.phase[2] - s.phase[0]) / (s.frame[2] - s.frame[0])
	if a := math.Max(0, s.frame[0]-reach); a < s.frame[0] {
		s.phase = append([]float64{s.phase[0] - rate0*(s.frame[0]-a)}, s.phase...)
		s.frame = append([]float64{a}, s.frame...)
		n++
	}
	rate1 := (s.phase[n-1] - s.phase[n-3]) / (s.frame[n-1] - s.frame[n-3])
	if e := math.Min(frames, s.frame[n-1]+reach); e > s.frame[n-1] {
		s.phase = append(s.phase, s.phase[n-1]+rate1*(e-s.frame[n-1]))
		s.frame = append(s.frame, e)
	}
}

// positions returns the frames at which the phase passes every whole number
// plus at, in order.
func (s *stretch) positions(at float64) []float64 {
	n := len(s.phase)
	var out []float64
	k := 0
	for target := math.Ceil(s.phase[0]-at) + at; target <= s.phase[n-1]; target++ {
		for k+1 < n-1 && s.phase[k+1] < target {
			k++
		}
		x := (target - s.phase[k]) / (s.phase[k+1] - s.phase[k])
		out = append(out, s.frame[k]+x*(s.frame[k+1]-s.frame[k]))
	}
	return out
}
