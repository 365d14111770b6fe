package note

import (
	"math"
	"sort"
)

// The price of a choice. Each part is about 1 when it is as bad as a listener
// should ever meet; the weights were set by the measures of
// analysis/fidelity on the stand-in engine and on open recordings.
const (
	candidates  = 48   // grains looked at, the nearest in revs
	revScale    = 0.02 // difference in ln(RPM) that costs 1
	slopeScale  = 0.5  // difference in d ln(RPM)/dt, 1/s, that costs 1
	slopeWeight = 0.15
	joinWeight  = 1.2
	colourScale = 3.0 // dB RMS over the colour bands that costs 1
	colourWt    = 0.3
	whim        = 0.25 // size of the random part

	reuseGrains  = 3   // a grain never returns before this many others
	reuseS       = 1.0 // nor, where there is choice, within this time
	reuseWeight  = 3.0 // price of a return right after reuseS ...
	reuseFadeS   = 2.5 // ... which fades with this time
	reuseForbid  = 40.0
	runMinS      = 0.10 // unbroken recording is played for a time between
	runMaxS      = 0.45 // these two, then a jump is preferred
	runOverPrice = 2.0
)

// choose returns the grain to play next. after is the grain that sounds, -1
// for none.
func (c *chain) choose(st *state, after int) int {
	grains := c.layer.Grains
	i := sort.Search(len(grains), func(k int) bool { return grains[k].LnRPM >= st.lnRPM })
	lo, hi := i-1, i
	successor := -1
	if after >= 0 {
		successor = grains[after].Next
	}
	best, price := -1, math.Inf(1)
	consider := func(g int) {
		if p := c.price(st, after, g); p < price {
			best, price = g, p
		}
	}
	for n := 0; n < candidates; n++ {
		switch {
		case lo < 0 && hi >= len(grains):
			n = candidates
		case hi >= len(grains) || lo >= 0 && st.lnRPM-grains[lo].LnRPM < grains[hi].LnRPM-st.lnRPM:
			consider(lo)
			if lo == successor {
				successor = -1
			}
			lo--
		default:
			consider(hi)
			if hi == successor {
				successor = -1
			}
			hi++
		}
	}
	if successor >= 0 {
		consider(successor)
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
	age := st.timeS - c.lastUsed[g]
	switch {
	case age < reuseS:
		p += reuseForbid
		for _, r := range c.recent {
			if r == g {
				p += 10 * reuseForbid
			}
		}
	case !math.IsInf(age, 1):
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
	c.lastUsed[g] = st.timeS
	copy(c.recent[1:], c.recent[:len(c.recent)-1])
	c.recent[0] = g
	if c.used != nil {
		c.used(g, st.timeS)
	}
}
