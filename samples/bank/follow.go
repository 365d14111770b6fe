package bank

import (
	"math"
	"sort"

	"tachbench/samples/crank"
)

const (
	// followReach is the largest rotation, in points of a cycle, by which a
	// bin may be moved to agree with its neighbour.
	followReach = anglePoints / 12
	// followBlend is the share of what went before in the running reference.
	followBlend = 0.5
)

// rotation is how far the cycle of a stretch has to be moved at some revs.
type rotation struct{ lnRPM, cycles float64 }

// follow finds, for every bin of every stretch, the small rotation that makes
// its mean cycle agree with those at neighbouring revs, and adds it to the
// phase of the stretch.
//
// A tracker's phase is that of the strongest orders where the microphone
// stood. As the revs move, the resonances of the exhaust turn the phase of
// each order, and with it the place of the pulses in the cycle; and two
// recordings never agree to the last degree. Cycles cut at such a phase do
// not join: the note would waver by some cents wherever it goes from one
// recording, or one stretch of a pull, to another. Starting from the bin with
// the most cycles, each next one up and down is turned to match the running
// mean of those before it.
func follow(stretches []*stretch, layout crank.Layout) {
	type place struct {
		s *stretch
		b *cycleBin
	}
	byBin := map[int][]place{}
	var keys []int
	start, most := 0, -1
	for _, s := range stretches {
		for i := range s.bins {
			b := &s.bins[i]
			k := int(math.Floor(b.lnRPM / binWidth))
			if byBin[k] == nil {
				keys = append(keys, k)
			}
			byBin[k] = append(byBin[k], place{s, b})
		}
	}
	sort.Ints(keys)
	for i, k := range keys {
		n := 0
		for _, p := range byBin[k] {
			n += p.b.count
		}
		if n > most {
			start, most = i, n
		}
	}
	turns := map[*stretch][]rotation{}
	seed := mean128(byBin[keys[start]][0].b, byBin[keys[start]][0].s.offset)
	walk := func(ref [anglePoints]float64, order []int) [anglePoints]float64 {
		var first [anglePoints]float64
		for i, k := range order {
			var sum [anglePoints]float64
			for _, p := range byBin[k] {
				own := mean128(p.b, p.s.offset)
				turn := bestTurn(&own, &ref)
				turns[p.s] = append(turns[p.s], rotation{p.b.lnRPM, turn})
				turned := shifted(&own, turn)
				for j, v := range turned {
					sum[j] += v * float64(p.b.count)
				}
			}
			normalise(&sum)
			if i == 0 {
				first = sum
			}
			for j := range ref {
				ref[j] = followBlend*ref[j] + (1-followBlend)*sum[j]
			}
			normalise(&ref)
		}
		return first
	}
	first := walk(seed, keys[start:])
	down := append([]int(nil), keys[:start]...)
	sort.Sort(sort.Reverse(sort.IntSlice(down)))
	walk(first, down)
	for _, s := range stretches {
		s.turn(turns[s], layout)
	}
}

// mean128 returns the normalised mean cycle of a bin in the common phase.
func mean128(b *cycleBin, offset float64) [anglePoints]float64 {
	out := *shifted(&b.shape, offset)
	normalise(&out)
	return out
}

func normalise(x *[anglePoints]float64) {
	var p float64
	for _, v := range x {
		p += v * v
	}
	if p == 0 {
		return
	}
	g := 1 / math.Sqrt(p)
	for i := range x {
		x[i] *= g
	}
}

// bestTurn returns the rotation in cycles, within followReach, that makes x
// most like ref.
func bestTurn(x, ref *[anglePoints]float64) float64 {
	score := func(k int) float64 {
		var sum float64
		for i := range x {
			sum += x[i] * ref[(i+k+anglePoints)%anglePoints]
		}
		return sum
	}
	best, top := 0, math.Inf(-1)
	for k := -followReach; k <= followReach; k++ {
		if v := score(k); v > top {
			best, top = k, v
		}
	}
	return (float64(best) + peakOffset(score(best-1), top, score(best+1))) / anglePoints
}

// peakOffset returns where, in points beside the middle one, a parabola
// through three values has its top; 0 if they do not make a peak.
func peakOffset(left, mid, right float64) float64 {
	den := left - 2*mid + right
	if den >= 0 {
		return 0
	}
	return math.Max(-0.5, math.Min(0.5, 0.5*(left-right)/den))
}

// turn adds the offset and the rotations, straight lines between bins, to the
// phase of the stretch.
func (s *stretch) turn(turns []rotation, layout crank.Layout) {
	sort.Slice(turns, func(i, j int) bool { return turns[i].lnRPM < turns[j].lnRPM })
	n := len(s.phase)
	moved := make([]float64, n)
	for i := range s.phase {
		a, b := max(0, i-1), min(n-1, i+1)
		hz := (s.phase[b] - s.phase[a]) / (s.frame[b] - s.frame[a]) * s.rateHz
		moved[i] = s.phase[i] + s.offset + interpolate(turns, math.Log(layout.RPM(hz)))
	}
	for i := 1; i < n; i++ {
		if !(moved[i] > moved[i-1]) {
			return // a rotation that turns time back is worth nothing
		}
	}
	s.phase, s.offset = moved, 0
}

func interpolate(turns []rotation, ln float64) float64 {
	n := len(turns)
	i := sort.Search(n, func(k int) bool { return turns[k].lnRPM >= ln })
	switch {
	case n == 0:
		return 0
	case i == 0:
		return turns[0].cycles
	case i == n:
		return turns[n-1].cycles
	}
	a, b := turns[i-1], turns[i]
	return a.cycles + (ln-a.lnRPM)/(b.lnRPM-a.lnRPM)*(b.cycles-a.cycles)
}
