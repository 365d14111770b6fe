package bank

import (
	"math"

	"tachbench/samples/crank"
)

const (
	anglePoints = 128  // points of a mean cycle
	binWidth    = 0.03 // width of an RPM bin, in ln(RPM)
	binCycles   = 32   // cycles averaged for a bin at the most
	alignReach  = 0.08 // ln(RPM) within which bins of two stretches are compared
	// cutWidthPoints is the width, a fifth of a cycle, over which the quietest
	// place is sought: as wide as an overlap.
	cutWidthPoints = anglePoints / 5
)

// cycleBin is the mean cycle of a stretch around one RPM.
type cycleBin struct {
	lnRPM float64
	count int
	shape [anglePoints]float64 // mean waveform over one cycle, DC removed
	power [anglePoints]float64 // mean square over one cycle
}

// collect fills the bins of a stretch from its cycles, cut at phase 0.
func (s *stretch) collect(t *take, layout crank.Layout) {
	s.bins = s.bins[:0]
	pos := s.positions(0)
	byBin := map[int]*cycleBin{}
	var order []int
	s.first, s.last = math.Inf(1), math.Inf(-1)
	for i := 0; i+1 < len(pos); i++ {
		a, b := pos[i], pos[i+1]
		rpm := layout.RPM(t.rateHz / (b - a))
		s.first, s.last = math.Min(s.first, rpm), math.Max(s.last, rpm)
		ln := math.Log(rpm)
		k := int(math.Floor(ln / binWidth))
		bin := byBin[k]
		if bin == nil {
			bin = &cycleBin{}
			byBin[k] = bin
			order = append(order, k)
		}
		if bin.count >= binCycles {
			continue
		}
		bin.count++
		bin.lnRPM += ln
		dc := mean(t.sum, a, b)
		step := (b - a) / anglePoints
		for j := range bin.shape {
			x := a + float64(j)*step
			bin.shape[j] += mean(t.sum, x, x+step) - dc
			bin.power[j] += mean(t.power, x, x+step)
		}
	}
	for _, k := range order {
		bin := byBin[k]
		g := 1 / float64(bin.count)
		bin.lnRPM *= g
		for j := range bin.shape {
			bin.shape[j] *= g
			bin.power[j] *= g
		}
		s.bins = append(s.bins, *bin)
	}
}

// align sets the offset of every stretch so that the same fractional phase is
// the same place in the engine cycle in all of them.
//
// The stretch with the widest RPM range is the reference; then the stretch
// nearest in RPM to any that is already placed is placed by circular
// cross-correlation of mean cycles at neighbouring revs, and so on. (Exhaust
// delays are constant in time, not in angle, so shapes are only compared
// where the revs are close.)
func align(stretches []*stretch) {
	placed := make([]bool, len(stretches))
	ref := 0
	for i, s := range stretches {
		if math.Log(s.last/s.first) > math.Log(stretches[ref].last/stretches[ref].first) {
			ref = i
		}
	}
	placed[ref] = true
	for n := 1; n < len(stretches); n++ {
		next, best := -1, math.Inf(1)
		for i, s := range stretches {
			if placed[i] {
				continue
			}
			for j, p := range stretches {
				if placed[j] {
					if d := binDistance(s, p); next < 0 || d < best {
						next, best = i, d
					}
				}
			}
		}
		stretches[next].offset = place(stretches[next], stretches, placed)
		placed[next] = true
	}
}

// binDistance returns the smallest distance in ln(RPM) between bins.
func binDistance(a, b *stretch) float64 {
	d := math.Inf(1)
	for i := range a.bins {
		for j := range b.bins {
			d = math.Min(d, math.Abs(a.bins[i].lnRPM-b.bins[j].lnRPM))
		}
	}
	return d
}

// place returns the offset that makes s agree best with the placed stretches
// near it.
func place(s *stretch, all []*stretch, placed []bool) float64 {
	nearestD := math.Inf(1)
	for j, p := range all {
		if placed[j] {
			nearestD = math.Min(nearestD, binDistance(s, p))
		}
	}
	reach := math.Max(alignReach, nearestD*1.0001)
	var score [anglePoints]float64
	for j, p := range all {
		if !placed[j] {
			continue
		}
		for i := range s.bins {
			for k := range p.bins {
				d := math.Abs(s.bins[i].lnRPM - p.bins[k].lnRPM)
				if d > reach {
					continue
				}
				w := 1 / (1 + math.Pow(d/0.02, 2))
				addCorrelation(&score, &s.bins[i].shape, shifted(&p.bins[k].shape, p.offset), w)
			}
		}
	}
	best := 0
	for i, v := range score {
		if v > score[best] {
			best = i
		}
	}
	a := score[(best+anglePoints-1)%anglePoints]
	c := score[(best+1)%anglePoints]
	return (float64(best) + peakOffset(a, score[best], c)) / anglePoints
}

// shifted returns the shape of a stretch in the common phase: the value at
// common phase x is the shape at x-offset.
func shifted(shape *[anglePoints]float64, offset float64) *[anglePoints]float64 {
	var out [anglePoints]float64
	for i := range out {
		x := float64(i) - offset*anglePoints
		f := math.Floor(x)
		a := int(f) % anglePoints
		if a < 0 {
			a += anglePoints
		}
		out[i] = shape[a] + (x-f)*(shape[(a+1)%anglePoints]-shape[a])
	}
	return &out
}

// addCorrelation adds w times the normalised circular correlation: entry k is
// large when moving x later by k points makes it like ref.
func addCorrelation(score *[anglePoints]float64, x, ref *[anglePoints]float64, w float64) {
	var ex, er float64
	for i := range x {
		ex += x[i] * x[i]
		er += ref[i] * ref[i]
	}
	if ex == 0 || er == 0 {
		return
	}
	w /= math.Sqrt(ex * er)
	for k := range score {
		var sum float64
		for i := range x {
			sum += x[i] * ref[(i+k)%anglePoints]
		}
		score[k] += w * sum
	}
}

// quietest returns the common phase, 0..1, around which the mean power over a
// fifth of a cycle is least, each bin counting the same. Joins there
// disturb the firing pulses least.
func quietest(stretches []*stretch) float64 {
	var profile [anglePoints]float64
	for _, s := range stretches {
		for i := range s.bins {
			p := shifted(&s.bins[i].power, s.offset)
			var total float64
			for _, v := range p {
				total += v
			}
			if total == 0 {
				continue
			}
			for j, v := range p {
				profile[j] += v / total
			}
		}
	}
	half := cutWidthPoints / 2
	best, least := 0, math.Inf(1)
	for i := range profile {
		var sum float64
		for d := -half; d < half; d++ {
			sum += profile[(i+d+anglePoints)%anglePoints]
		}
		if sum < least {
			best, least = i, sum
		}
	}
	return float64(best) / anglePoints
}
