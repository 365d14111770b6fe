package tacho

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"tachbench/samples/crank"
)

// The path decides frame by frame and can settle on a simple fraction of the
// true revs, most easily where unequal cylinders and sharp resonances meet.
// With the phase known, a whole piece of recording can be weighed at once:
// the mean level of every line on a fine lattice of orders is explained by
// each ratio in turn, and the ratio that explains it best wins.

// ratio is a candidate for true revs over tracked revs.
type ratio struct{ num, den int }

func (r ratio) value() float64 { return float64(r.num) / float64(r.den) }

var ratios = []ratio{{1, 1}, {2, 1}, {3, 1}, {4, 1}, {5, 1}, {6, 1}, {8, 1}, {10, 1}, {12, 1},
	{1, 2}, {1, 3}, {3, 2}, {2, 3}, {4, 3}, {5, 2}, {5, 3}}

// The number of lattice points per tracked engine cycle rate. Six allow for
// halves and thirds; a short piece must do with two, and can only be found to
// be tracked too low.
const (
	fineLattice   = 6
	coarseLattice = 2
)

// The prior of levels, in decibels: how an engine's lines spread.
const (
	levelSD    = 20.0  // of the recording's level as a whole
	lineSD     = 3.0   // one line
	weakMeanDB = -12.0 // orders the layout lacks, against the others
	weakSD     = 5.0   // the same for all of them
	weakLineSD = 6.0   // each of them
	gapSD      = 2.5   // noise between lines
	hiddenDB   = 5.0   // above the noise a weak order counts as seen
	gapWorst   = -10.0 // log-likelihood at which a line in a gap counts no further
	equalCost  = 5.0   // for supposing cylinders that are exactly alike
	otherCost  = 0.5   // for any ratio but 1
)

// texture is how rough a spectrum is expected to be: two Gaussian processes
// over frequency, SD in decibels and correlation length.
type texture struct {
	slowSD, slowHz float64 // tilt and broad humps
	fastSD, fastHz float64 // resonances
	toHz           float64 // highest frequency looked at
}

// The sound itself carries the exhaust's resonances; its envelope does not,
// but says nothing where pulses run into each other.
var (
	soundTexture    = texture{8, 800, 8, 160, math.Inf(1)}
	envelopeTexture = texture{8, 300, 3, 100, 800}
)

// portraitS is how much of a long piece is looked at, from its middle.
const portraitS = 8.0

// portrait is the lines of a piece of recording, in the sound and in its
// envelope.
type portrait struct{ sound, envelope []latticeLine }

// latticeLine is the mean level at one lattice point.
type latticeLine struct {
	at, per int // at/per times the tracked cycle rate
	hz      float64
	db      float64
	gapDB   float64 // noise level around it
}

// weigh returns the ratio that explains the lines best, among those that
// keep meanHz (the tracked cycle rate) within lowHz..highHz.
// The prior is what else speaks for each ratio, in log-likelihood.
func weigh(p portrait, l crank.Layout, meanHz, lowHz, highHz float64, prior func(ratio) float64) ratio {
	best, bestFit := ratio{1, 1}, math.Inf(-1)
	for _, r := range ratios {
		if hz := meanHz * r.value(); hz < lowHz || hz > highHz || p.sound[0].per%r.den != 0 || p.sound[0].per == coarseLattice && r.den > 1 {
			continue
		}
		fit := math.Max(p.explain(l, r, false), p.explain(l, r, true)-equalCost)
		fit += prior(r)
		if r != (ratio{1, 1}) {
			fit -= otherCost
		}
		if fit > bestFit {
			best, bestFit = r, fit
		}
	}
	return best
}

func (p portrait) explain(l crank.Layout, r ratio, equal bool) float64 {
	return explain(p.sound, soundTexture, l, r, equal) + explain(p.envelope, envelopeTexture, l, r, equal)
}

// explain returns the log-likelihood of the lines if the true revs are r
// times the tracked ones. Lines on the layout's orders follow a smooth
// spectrum (a Gaussian process over frequency); orders the layout lacks lie
// lower by a common and an individual amount, or, with equal cylinders, are
// absent; everything else is noise.
func explain(lines []latticeLine, tex texture, l crank.Layout, r ratio, equal bool) float64 {
	var on []latticeLine
	var mean, sd []float64 // expected offset and own spread of each line in on
	var weak []bool
	var fit float64
	for _, line := range lines {
		// The point's multiple of the candidate's cycle rate is
		// at·den/(per·num).
		k, rest := line.at*r.den/(line.per*r.num), line.at*r.den%(line.per*r.num)
		a := 0.0
		if rest == 0 {
			a = l.OrderAmplitude(float64(k) / l.RevsPerCycle())
		}
		switch {
		case rest != 0 || equal && a < 0.05:
			fit += asNoise(line)
			continue
		case a <= 0.55 && line.db < line.gapDB+hiddenDB:
			// A weak order may well drown.
			fit += asNoise(line) - math.Ln2
			continue
		case a > 0.55:
			mean, sd, weak = append(mean, 20*math.Log10(a)), append(sd, lineSD), append(weak, false)
		default:
			fit -= math.Ln2
			mean, sd, weak = append(mean, weakMeanDB), append(sd, weakLineSD), append(weak, true)
		}
		on = append(on, line)
	}
	return fit + tex.process(on, mean, sd, weak)
}

// asNoise returns the log-likelihood of a line that should not be there.
func asNoise(line latticeLine) float64 {
	d := (line.db - line.gapDB) / gapSD
	return math.Max(gapWorst, -d*d/2) - math.Log(gapSD)
}

// process returns the log-likelihood of levels under the Gaussian process,
// without the constant that every ratio shares.
func (tex texture) process(on []latticeLine, mean, sd []float64, weak []bool) float64 {
	n := len(on)
	if n == 0 {
		return 0
	}
	cov := mat.NewSymDense(n, nil)
	y := mat.NewVecDense(n, nil)
	for i, a := range on {
		y.SetVec(i, a.db-mean[i])
		for j := i; j < n; j++ {
			d := math.Abs(a.hz - on[j].hz)
			v := levelSD*levelSD + tex.slowSD*tex.slowSD*math.Exp(-d*d/(2*tex.slowHz*tex.slowHz)) + tex.fastSD*tex.fastSD*math.Exp(-d/tex.fastHz)
			if weak[i] && weak[j] {
				v += weakSD * weakSD
			}
			if i == j {
				v += sd[i] * sd[i]
			}
			cov.SetSym(i, j, v)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return math.Inf(-1)
	}
	var solved mat.VecDense
	if err := chol.SolveVecTo(&solved, y); err != nil {
		return math.Inf(-1)
	}
	return -0.5*mat.Dot(y, &solved) - 0.5*chol.LogDet()
}

// portray measures the lines over the points from..to of a refined track.
// The portrait is empty if the piece is too short to part them.
func portray(sig signal, r refined, from, to int, hopS float64) portrait {
	if long := int(portraitS / hopS); to-from > long {
		from += (to - from - long) / 2
		to = from + long
	}
	a := int(float64(from) * hopS * sig.rateHz)
	b := min(len(sig.z), int(float64(to)*hopS*sig.rateHz))
	env := make([]complex128, b-a)
	for i, v := range sig.z[a:b] {
		env[i] = complex(imag(v), 0)
	}
	return portrait{
		latticeLines(sig.z[a:b], sig.rateHz, soundTexture, r, from, to, hopS),
		latticeLines(env, sig.rateHz, envelopeTexture, r, from, to, hopS),
	}
}

// latticeLines measures the lines of x, which runs along the points from..to.
func latticeLines(x []complex128, rateHz float64, tex texture, r refined, from, to int, hopS float64) []latticeLine {
	const most = 48 // tracked cycle rates
	cycles := r.phase[to-1] - r.phase[from]
	lattice := fineLattice
	if cycles < 2.5*fineLattice {
		lattice = coarseLattice
	}
	if len(x) < 64 || cycles < 2.5*coarseLattice {
		return nil
	}
	// Half-cycle multiples of a phase slowed down by lattice/2 are the
	// lattice points.
	slow := make([]float64, to-from)
	var mean float64
	for i := range slow {
		slow[i] = r.cycleHz[from+i] * 2 / float64(lattice)
		mean += r.cycleHz[from+i] / float64(len(slow))
	}
	reach := min(most*lattice, int(math.Min(bandLimit*rateHz, tex.toHz)*float64(lattice)/slices.Max(r.cycleHz[from:to])))
	phase := samplePhase(slow, len(x), rateHz, hopS)
	o := demodulate(x, phase, rateHz, reach, 0.45, nil)
	step := max(1, int(0.02/hopS))
	w := o.at((to-from)/step, hopS*float64(step), rateHz, func(hz float64) float64 {
		// 2·lattice tracked cycles; whole windows only count.
		return 4
	})
	return levels(w, mean, reach, lattice)
}

// levels turns the windowed lattice into mean levels and local noise.
func levels(w windowed, meanHz float64, reach, lattice int) []latticeLine {
	db := make([]float64, reach+1)
	for at := 1; at <= reach; at++ {
		var p, all float64
		for i, v := range w.z[at-1] {
			p += squared(v)
			all += w.power[i]
		}
		db[at] = 10 * math.Log10(p/float64(len(w.power))+gapFloor*all+1e-30)
	}
	var out []latticeLine
	for at := 2; at <= reach; at++ {
		if isGap(at, lattice) {
			continue
		}
		out = append(out, latticeLine{at, lattice, float64(at) * meanHz / float64(lattice), db[at], noiseAround(db, at, lattice)})
	}
	return out
}

// isGap marks the points where no candidate has a line: they tell the noise.
func isGap(at, lattice int) bool { return at%lattice == 1 || at%lattice == lattice-1 }

// noiseAround is the median level of the six nearest lattice points where no
// candidate has a line.
func noiseAround(db []float64, at, lattice int) float64 {
	var near []float64
	for d := 1; len(near) < 6 && d < len(db); d++ {
		for _, k := range [2]int{at - d, at + d} {
			if k >= 1 && k < len(db) && isGap(k, lattice) {
				near = append(near, db[k])
			}
		}
	}
	slices.Sort(near)
	if len(near) == 0 {
		return db[at]
	}
	return near[len(near)/2]
}

// scoreWeight is the log-likelihood of one unit of mean emission score.
const scoreWeight = 25

// settle cuts the marked points into pieces without jumps, weighs each, and
// multiplies its rate by the ratio found. It tells whether anything changed.
// The emission scores that led the path have their say as the prior.
func settle(sig signal, l crank.Layout, r refined, on []bool, hopS float64, rows [][]float32, g grid) bool {
	changed := false
	for i := 0; i < len(on); {
		if !on[i] {
			i++
			continue
		}
		from := i
		for i++; i < len(on) && on[i] && math.Abs(math.Log(r.cycleHz[i]/r.cycleHz[i-1])) < 0.05; i++ {
		}
		p := portray(sig, r, from, i, hopS)
		if len(p.sound) == 0 {
			continue
		}
		low, high := slices.Min(r.cycleHz[from:i]), slices.Max(r.cycleHz[from:i])
		lowest, highest := l.CycleHz(g.rpm(0)), l.CycleHz(g.rpm(float64(g.n-1)))
		best := weigh(p, l, low, lowest, highest*low/high, func(x ratio) float64 {
			return scoreWeight * meanScore(rows, g, l, r.cycleHz[from:i], x, float64(from)*hopS, hopS)
		})
		if best != (ratio{1, 1}) {
			changed = true
			for p := from; p < i; p++ {
				r.cycleHz[p] *= best.value()
			}
		}
	}
	return changed
}

// meanScore returns the mean emission along hz times the ratio, hz starting
// at fromS.
func meanScore(rows [][]float32, g grid, l crank.Layout, hz []float64, x ratio, fromS, hopS float64) float64 {
	var sum float64
	for p, f := range hz {
		row := rows[min(len(rows)-1, int((fromS+float64(p)*hopS)/pathHopS+0.5))]
		at := int(math.Round(g.place(l.RPM(f * x.value()))))
		at = min(max(at, 1), g.n-2)
		sum += float64(max(row[at-1], row[at], row[at+1]))
	}
	return sum / float64(len(hz))
}
