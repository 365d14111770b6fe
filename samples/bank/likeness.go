package bank

import "math"

// Likeness returns how alike the cycles of layer i and layer i+1 are, as a
// correlation 0..1 over whole cycles at neighbouring revs. Two layers that
// sound together are mixed with gains that know it.
func (b *Bank) Likeness(i int) float64 { return b.likeness[i] }

// placedBin is a mean cycle in the common phase.
type placedBin struct {
	lnRPM float64
	shape *[anglePoints]float64
	power float64
}

// measureLikeness fills the likeness of neighbouring layers and of
// neighbouring islands within each.
func (b *Bank) measureLikeness(recs []Recording, stretches []*stretch) {
	bins := make([][]placedBin, len(b.Layers))
	centres := make([]float64, len(b.Layers))
	for i, l := range b.Layers {
		centres[i] = l.Load
	}
	for _, s := range stretches {
		k := nearest(centres, recs[s.rec].Load)
		for i := range s.bins {
			p := placedBin{lnRPM: s.bins[i].lnRPM, shape: shifted(&s.bins[i].shape, s.offset)}
			for _, v := range s.bins[i].power {
				p.power += v
			}
			bins[k] = append(bins[k], p)
		}
	}
	for i := range b.Layers {
		if i+1 < len(b.Layers) {
			b.likeness = append(b.likeness, meanLikeness(bins[i], bins[i+1]))
		}
		is := b.Layers[i].Islands
		for k := 0; k+1 < len(is); k++ {
			is[k].Likeness = likeness(nearestBin(bins[i], is[k].LnHi), nearestBin(bins[i], is[k+1].LnLo))
		}
	}
}

// meanLikeness averages over all pairs at about the same revs.
func meanLikeness(a, b []placedBin) float64 {
	var sum, n float64
	for i := range a {
		for j := range b {
			if math.Abs(a[i].lnRPM-b[j].lnRPM) < binWidth {
				sum += likeness(&a[i], &b[j])
				n++
			}
		}
	}
	if n == 0 {
		return 0
	}
	return sum / n
}

func nearestBin(bins []placedBin, ln float64) *placedBin {
	best := &bins[0]
	for i := range bins {
		if math.Abs(bins[i].lnRPM-ln) < math.Abs(best.lnRPM-ln) {
			best = &bins[i]
		}
	}
	return best
}

// likeness returns the part of two bins' power that is common to their mean
// cycles, 0..1: what noise there is does not correlate.
func likeness(a, b *placedBin) float64 {
	if a.power == 0 || b.power == 0 {
		return 0
	}
	var ab float64
	for i := range a.shape {
		ab += a.shape[i] * b.shape[i]
	}
	return math.Max(0, math.Min(1, ab/math.Sqrt(a.power*b.power)))
}
