package bank

import "math"

// Likeness returns how alike the cycles of layer i and layer i+1 are, as a
// correlation 0..1 over whole cycles at neighbouring revs. Two layers that
// sound together are mixed with gains that know it.
func (b *Bank) Likeness(i int) float64 { return b.likeness[i] }

// measureLikeness fills the likeness of neighbouring layers: the mean
// correlation of the waveforms kept around their cuts.
func (b *Bank) measureLikeness(recs []Recording, stretches []*stretch) {
	for i := 0; i+1 < len(b.Layers); i++ {
		lo, hi := b.Layers[i].Load, b.Layers[i+1].Load
		var sum, weight float64
		for _, s := range stretches {
			for _, p := range stretches {
				if math.Abs(recs[s.rec].Load-lo) > layerGap || math.Abs(recs[p.rec].Load-hi) > layerGap {
					continue
				}
				for j := range s.bins {
					for k := range p.bins {
						if math.Abs(s.bins[j].lnRPM-p.bins[k].lnRPM) < binWidth {
							sum += likeness(s, p, j, k)
							weight++
						}
					}
				}
			}
		}
		rho := 0.0
		if weight > 0 {
			rho = math.Max(0, math.Min(1, sum/weight))
		}
		b.likeness = append(b.likeness, rho)
	}
}

// likeness returns the part of two bins' power that is common to their mean
// cycles: what noise there is does not correlate.
func likeness(s, p *stretch, j, k int) float64 {
	x, y := shifted(&s.bins[j].shape, s.offset), shifted(&p.bins[k].shape, p.offset)
	var xy, px, py float64
	for i := range x {
		xy += x[i] * y[i]
		px += s.bins[j].power[i]
		py += p.bins[k].power[i]
	}
	if px == 0 || py == 0 {
		return 0
	}
	return xy / math.Sqrt(px*py)
}
