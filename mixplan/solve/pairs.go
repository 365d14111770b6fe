package solve

import (
	"context"
	"math"
	"slices"

	"tachbench/mixplan"
)

// The edges that a dip is tried with, Hz: around what speech is made of. A
// dip costs the game a filter, so it has to save this share of the loudness
// that all frequencies cost, and this much, to be worth it.
var (
	dipLowHz  = []float64{250, 500, 800}
	dipHighHz = []float64{2000, 4000, 8000}
)

const (
	dipShare  = 0.8
	dipSaveDB = 0.5
)

// pairs looks at each category: what it would take alone, and whether a band
// does it for less than all frequencies. Categories are turned to their best
// one after the other, the dearest first, the others standing as they are.
func (p *problem) pairs(ctx context.Context, depth, most []float64, bands bool) []Pair {
	out := make([]Pair, len(depth))
	now := slices.Clone(depth)
	for b, bus := range p.pkg.Buses {
		out[b] = Pair{Category: bus.Category, MostDB: most[b], Dear: dearness(bus.Category), BroadDB: depth[b], DepthDB: depth[b], LossDB: depth[b], AloneDB: math.NaN()}
		if bands && depth[b] > 0 {
			out[b].AloneDB = p.alone(b, most[b])
		}
	}
	if !bands || !p.enough(now) { // rounding cannot do that; nothing is to be compared
		return out
	}
	order := make([]int, len(depth))
	for b := range order {
		order[b] = b
	}
	slices.SortStableFunc(order, func(x, y int) int {
		return compare(out[y].Dear*depth[y]*depth[y], out[x].Dear*depth[x]*depth[x])
	})
	for _, b := range order {
		if depth[b] == 0 || ctx.Err() != nil {
			continue
		}
		q := &out[b]
		if q.BestDip, q.DipDepthDB, q.DipLossDB = p.bestDip(now, b, most[b]); q.BestDip == nil {
			continue
		}
		if q.DipLossDB < dipShare*q.BroadDB && q.DipLossDB < q.BroadDB-dipSaveDB {
			q.Dip, q.DepthDB, q.LossDB = q.BestDip, q.DipDepthDB, q.DipLossDB
			now[b] = q.DipDepthDB
			p.dip(b, q.BestDip)
		}
	}
	return out
}

// alone returns the depth at which one bus is enough without the others.
func (p *problem) alone(b int, most float64) float64 {
	a, ok := search([]knob{{1, most}}, func(a []float64) bool {
		depth := make([]float64, len(p.dips))
		depth[b] = a[0]
		return p.enough(depth)
	})
	if !ok {
		return math.NaN()
	}
	return up(a[0], 0.1)
}

// bestDip finds the band and depth that cost one bus the least loudness,
// leaving the others as they are; nil if none costs less than all frequencies.
func (p *problem) bestDip(depth []float64, b int, most float64) (best *mixplan.Dip, depthDB, loss float64) {
	loss = depth[b]
	try := slices.Clone(depth)
	before := p.dips[b]
	defer func() { p.dip(b, before) }()
	for _, lo := range dipLowHz {
		for _, hi := range dipHighHz {
			if hi > 0.45*float64(p.pkg.RateHz) {
				continue
			}
			dip := &mixplan.Dip{LowHz: lo, HighHz: hi}
			p.dip(b, dip)
			// The deepest that would still cost less, and whether it is enough.
			high := halve(0, most, func(d float64) bool { return p.loss(b, d) >= loss })
			if try[b] = high; !p.enough(try) {
				continue
			}
			high = halve(0, high, func(d float64) bool {
				try[b] = d
				return p.enough(try)
			})
			d := min(up(high, 0.1), most)
			if l := p.loss(b, d); l < loss {
				best, depthDB, loss = dip, d, l
			}
		}
	}
	return best, depthDB, loss
}

// halve returns about the least value with so, which stays true from there
// on; to if none is.
func halve(from, to float64, so func(float64) bool) float64 {
	for to-from > 0.04 {
		if mid := (from + to) / 2; so(mid) {
			to = mid
		} else {
			from = mid
		}
	}
	return to
}
