package note

import (
	"math"
	"slices"
	"sort"
)

// The price of a choice. Each part is about 1 when it is as bad as a listener
// should ever meet; the weights were set by the measures of
// analysis/fidelity on the stand-in engine and on open recordings.
const (
	candidates = 40    // grains priced, the nearest in revs
	scanLimit  = 512   // grains looked at to find them
	freshGap   = 0.006 // ln(RPM) beyond the nearest grain within which unheard ones are sought first
	reachGap   = 0.06  // and within which any are, when there are not enough unheard

	// A difference in ln(RPM) that costs 1 follows how close together the
	// grains lie: among many only the nearest are wanted, among few it matters
	// more not to repeat oneself.
	enough      = 12 // the grains that make a choice
	revScaleOf  = 0.6
	revScaleMin = 0.01
	revScaleMax = 0.04

	slopeScale  = 0.5 // difference in d ln(RPM)/dt, 1/s, that costs 1
	slopeWeight = 0.15
	jump        = 1.5 // price of leaving the recording's own course
	joinWeight  = 4   // price of a join between unrelated waveforms
	colourScale = 3.0 // dB RMS over the colour bands that costs 1
	colourWt    = 0.3

	// Among grains of like price chance decides, so that the order of reuse
	// never settles into a pattern: each price is lowered by a random amount
	// (Gumbel-distributed, which makes the choice follow exp(-price/whim)).
	whim = 0.3

	reuseGrains = 3   // a grain never returns before this many others
	reuseS      = 1.0 // nor, where there is enough choice, within this time
	reuseWeight = 2.5 // price of a return at once ...
	reuseFadeS  = 0.6 // ... which fades with this time
	runMinS     = 0.3
	runMaxS     = 0.9 // unbroken recording is played for a time between these two ...
	runOver     = 2.0 // ... then going on costs this
)

// choose returns the grain to play next. after is the grain that sounds, -1
// for none.
func (c *chain) choose(st *state, after int) int {
	n := c.gather(st, reuseS, freshGap)
	if n < enough {
		n = c.gather(st, 0, reachGap)
	}
	if after >= 0 {
		if g := c.layer.Grains[after].Next; g >= c.island.From && g < c.island.To && !slices.Contains(c.near[:n], g) &&
			(n < enough || st.timeS-c.lastUsed[g-c.island.From] >= reuseS) {
			c.near[n] = g
			n++
		}
	}
	spread := math.Abs(c.layer.Grains[c.near[min(enough, n)-1]].LnRPM - st.lnRPM)
	c.revScale = math.Max(revScaleMin, math.Min(revScaleMax, revScaleOf*spread))
	best, price := -1, math.Inf(1)
	for _, g := range c.near[:n] {
		if slices.Contains(c.recent[:], g) {
			continue
		}
		if p := c.price(st, after, g); p < price {
			best, price = g, p
		}
	}
	if best < 0 {
		return c.anyOther(after)
	}
	return best
}

// gather puts the grains nearest in revs into c.near, nearest first, and
// returns how many: up to candidates of them that were not used for restS,
// none further away than the nearest of all plus gap, save the first few when
// restS is 0.
func (c *chain) gather(st *state, restS, gap float64) int {
	grains, is := c.layer.Grains, c.island
	hi := is.From + sort.Search(is.To-is.From, func(k int) bool { return grains[is.From+k].LnRPM >= st.lnRPM })
	lo := hi - 1
	n, reach := 0, math.Inf(1)
	for seen := 0; n < candidates && seen < scanLimit && (lo >= is.From || hi < is.To); seen++ {
		g := hi
		if hi >= is.To || lo >= is.From && st.lnRPM-grains[lo].LnRPM < grains[hi].LnRPM-st.lnRPM {
			g = lo
			lo--
		} else {
			hi++
		}
		d := math.Abs(grains[g].LnRPM - st.lnRPM)
		if seen == 0 {
			reach = d + gap
		}
		if d > reach && (restS > 0 || n >= enough) {
			break
		}
		if restS > 0 && st.timeS-c.lastUsed[g-is.From] < restS {
			continue
		}
		c.near[n] = g
		n++
	}
	return n
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
	d := (grain.LnRPM - st.lnRPM) / c.revScale
	p := d * d
	p += slopeWeight * math.Min(1, math.Abs(grain.Slope-st.slope)/slopeScale)
	p -= whim * gumbel[c.rng.Uint32()%uint32(len(gumbel))]
	p += reuseWeight * math.Exp((c.lastUsed[g-c.island.From]-st.timeS)/reuseFadeS)
	if after < 0 {
		return p
	}
	last := &c.layer.Grains[after]
	if g == last.Next {
		if c.runLeft <= 0 {
			p += runOver
		}
		return p
	}
	p += jump + joinWeight*c.bank.JoinDistance(last.Cut+1, grain.Cut)
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

// gumbel holds evenly spaced quantiles of the standard Gumbel distribution,
// -ln(-ln(u)).
var gumbel = func() (t [1024]float64) {
	for i := range t {
		t[i] = -math.Log(-math.Log((float64(i) + 0.5) / float64(len(t))))
	}
	return t
}()
