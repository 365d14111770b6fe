package note

import (
	"math"
	"sort"
)

// The price of a choice. Each part is about 1 when it is as bad as a listener
// should ever meet; the weights were set by the measures of
// analysis/fidelity on the stand-in engine and on open recordings.
const (
	candidates  = 40   // grains priced, the nearest in revs that are not too fresh in the ear
	scanLimit   = 400  // grains looked at to find them
	reachGap    = 0.04 // ln(RPM) beyond the nearest grain at which the search ends
	revScale    = 0.02 // difference in ln(RPM) that costs 1
	slopeScale  = 0.5  // difference in d ln(RPM)/dt, 1/s, that costs 1
	slopeWeight = 0.15
	joinWeight  = 1.2
	colourScale = 3.0 // dB RMS over the colour bands that costs 1
	colourWt    = 0.3
	whim        = 0.25 // size of the random part

	reuseGrains  = 3    // a grain never returns before this many others
	reuseS       = 1.0  // nor, where there is choice, within this time
	reuseWeight  = 3.0  // price of a return right after reuseS ...
	reuseFadeS   = 2.5  // ... which fades with this time
	runMinS      = 0.10 // unbroken recording is played for a time between
	runMaxS      = 0.45 // these two, then a jump is preferred
	runOverPrice = 2.0
)

// choose returns the grain to play next. after is the grain that sounds, -1
// for none.
func (c *chain) choose(st *state, after int) int {
	grains, is := c.layer.Grains, c.island
	hi := is.From + sort.Search(is.To-is.From, func(k int) bool { return grains[is.From+k].LnRPM >= st.lnRPM })
	lo := hi - 1
	successor := -1
	if after >= 0 {
		if g := grains[after].Next; g >= is.From && g < is.To {
			successor = g
		}
	}
	best, price := -1, math.Inf(1)
	oldest, oldestAt := -1, math.Inf(1) // the way out when everything near was heard just now
	consider := func(g int) (fresh bool) {
		if g == successor {
			successor = -1
		}
		if at := c.lastUsed[g-is.From]; st.timeS-at < reuseS {
			if at < oldestAt && !c.isRecent(g) {
				oldest, oldestAt = g, at
			}
			return false
		}
		if p := c.price(st, after, g); p < price {
			best, price = g, p
		}
		return true
	}
	reach := reachGap
	for n, seen := 0, 0; n < candidates && seen < scanLimit && (lo >= is.From || hi < is.To); seen++ {
		g := hi
		if hi >= is.To || lo >= is.From && st.lnRPM-grains[lo].LnRPM < grains[hi].LnRPM-st.lnRPM {
			g = lo
			lo--
		} else {
			hi++
		}
		d := math.Abs(grains[g].LnRPM - st.lnRPM)
		if seen == 0 {
			reach += d
		}
		if d > reach && (best >= 0 || oldest >= 0) {
			break
		}
		if consider(g) {
			n++
		}
	}
	if successor >= 0 {
		consider(successor)
	}
	switch {
	case best >= 0:
		return best
	case oldest >= 0:
		return oldest
	}
	return c.anyOther(after)
}

// isRecent tells whether a grain is among the last reuseGrains taken.
func (c *chain) isRecent(g int) bool {
	for _, r := range c.recent {
		if r == g {
			return true
		}
	}
	return false
}

// anyOther is the last resort of an island with hardly any grains: the one
// not heard for longest.
func (c *chain) anyOther(after int) int {
	best := c.island.From
	for g := c.island.From; g < c.island.To; g++ {
		if g != after && (best == after || c.lastUsed[g-c.island.From] < c.lastUsed[best-c.island.From]) {
			best = g
		}
	}
	return best
}

// price adds up what grain g would cost after grain after.
func (c *chain) price(st *state, after, g int) float64 {
	grain := &c.layer.Grains[g]
	d := (grain.LnRPM - st.lnRPM) / revScale
	p := d * d
	p += slopeWeight * math.Min(1, math.Abs(grain.Slope-st.slope)/slopeScale)
	p += whim * c.rng.Float64()
	if age := st.timeS - c.lastUsed[g-c.island.From]; !math.IsInf(age, 1) {
		p += reuseWeight * math.Exp(-(age-reuseS)/reuseFadeS)
	}
	if after < 0 {
		return p
	}
	last := &c.layer.Grains[after]
	if g == last.Next {
		if c.runLeft <= 0 {
			p += runOverPrice
		}
		return p
	}
	p += joinWeight * c.bank.JoinDistance(last.Cut+1, grain.Cut)
	var sum float64
	for k := range grain.Bands {
		e := float64(grain.Bands[k] - last.Bands[k])
		sum += e * e
	}
	return p + colourWt*math.Sqrt(sum/float64(len(grain.Bands)))/colourScale
}

// note remembers that a grain is used now, and how long the unbroken stretch
// may still go on.
func (c *chain) note(g int, st *state) {
	continues := c.now.grain >= 0 && c.layer.Grains[c.now.grain].Next == g
	if !continues || c.runLeft <= 0 {
		c.runLeft = runMinS + (runMaxS-runMinS)*c.rng.Float64()
	}
	c.runLeft -= 1 / st.cycleHz
	c.lastUsed[g-c.island.From] = st.timeS
	copy(c.recent[1:], c.recent[:len(c.recent)-1])
	c.recent[0] = g
	if c.used != nil {
		c.used(g, st.timeS)
	}
}
