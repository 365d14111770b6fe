package tacho

import (
	"math"

	"gonum.org/v1/gonum/floats"

	"tachbench/samples/crank"
)

// pathHopS is the time between two spectra.
const pathHopS = 0.05

// A zoom is one window length. Slow engines need long windows to tell their
// lines apart, fast ones short windows so that a pull does not blur them.
type zoom struct {
	halvings  int       // of the work rate; 1024 samples last 0.17 s · 2^halvings
	fromHz    float64   // engine cycle rates served, from..to
	toHz      float64   //
	slopes    []float64 // relative rates of change tried, 1/s
	everyHops int       // spectra are renewed every so many path hops
}

var zooms = []zoom{
	{2, 0, 17, []float64{0, 0.2, -0.2, 0.5, -0.5, 1, -1}, 2},
	{1, 17, 35, []float64{0, 0.35, -0.35, 1, -1}, 1},
	{0, 35, math.Inf(1), []float64{0, 0.7, -0.7, 2, -2}, 1},
}

// emissions scores every grid place at every path hop: about 0 where nothing
// speaks for it, 1 and more for a clear engine. Rows are hops.
func emissions(sig signal, l crank.Layout, g grid, hops int) [][]float32 {
	flat := make([]float32, hops*g.n)
	rows := make([][]float32, hops)
	for h := range rows {
		rows[h] = flat[h*g.n : (h+1)*g.n]
	}
	teeth := comb(l)
	for _, z := range zooms {
		from := max(0, int(math.Ceil(g.place(l.RPM(math.Max(z.fromHz, 1e-3))))))
		to := g.n
		if !math.IsInf(z.toHz, 1) {
			to = min(g.n, int(math.Ceil(g.place(l.RPM(z.toHz)))))
		}
		if from >= to {
			continue
		}
		if firing := l.FiringHz(g.rpm(float64(from))); firing > spectrumLimit*sig.rateHz/float64(int(1)<<z.halvings) {
			continue // not one line of such revs lies in the band
		}
		newScorer(sig, z, l, g, teeth, from, to).run(rows)
	}
	for _, row := range rows {
		discountMultiples(row, g, lineSpacing(l))
	}
	return rows
}

// overtones are the multiples of the true revs whose comb meets only true
// lines and misses all the lines in between, as fractions.
var overtones = []struct{ num, den int }{{3, 2}, {5, 2}, {3, 1}, {5, 1}, {7, 1}}

// discountMultiples takes from every candidate half the score of the best
// candidate of which it could be an overtone. At the inverse ratios a true
// candidate itself scores near nothing, unless its own weak orders lie
// there; such ratios are left out.
func discountMultiples(row []float32, g grid, spacing int) {
	// Downwards in place: what is read lies below and is still as it was.
	for i := g.n - 1; i >= 0; i-- {
		var most float32
		for _, o := range overtones {
			if o.num == 3 && spacing%3 == 0 {
				continue
			}
			j := i - int(math.Round(math.Log(float64(o.num)/float64(o.den))/g.logStep))
			for d := -1; d <= 1; d++ {
				if j+d >= 0 && row[j+d] > most {
					most = row[j+d]
				}
			}
		}
		row[i] -= 0.5 * most
	}
}

// scorer turns the spectra of one zoom into scores for grid places from..to.
type scorer struct {
	zoom     zoom
	spectra  *logSpectra
	from, to int
	groups   [groups]group
	best     []float64
}

// group is a set of teeth whose mean level is taken together.
type group struct {
	teeth []shift
	sum   []float64 // per place: weight of the teeth inside the spectrum
	acc   []float64
}

// shift is a tooth on the log axis: candidate i meets spectrum bin i+offset.
type shift struct {
	offset int
	weight float64
}

func newScorer(sig signal, z zoom, l crank.Layout, g grid, teeth []tooth, from, to int) *scorer {
	n := to - from
	lowHz := l.CycleHz(g.rpm(float64(from))) / 3
	s := &scorer{
		zoom: z, from: from, to: to,
		spectra: newLogSpectra(sig, z.halvings, lowHz, g.logStep, z.slopes),
		best:    make([]float64, n),
	}
	for i := range s.groups {
		s.groups[i].sum, s.groups[i].acc = make([]float64, n), make([]float64, n)
	}
	for _, t := range teeth {
		// Bin 0 of the spectrum is a third of the cycle rate of the first place.
		off := int(math.Round(math.Log(3*t.multiple) / g.logStep))
		if off < 0 || off >= s.spectra.bins {
			continue
		}
		end := min(n, s.spectra.bins-off)
		for i, w := range t.weight {
			if w > 0 {
				s.groups[i].teeth = append(s.groups[i].teeth, shift{off, w})
				floats.AddConst(w, s.groups[i].sum[:end])
			}
		}
	}
	return s
}

func (s *scorer) run(rows [][]float32) {
	for h := range rows {
		if h%s.zoom.everyHops != 0 {
			copy(rows[h][s.from:s.to], rows[h-1][s.from:s.to])
			continue
		}
		s.score((float64(h) + 0.5*float64(s.zoom.everyHops-1)) * pathHopS)
		for i, v := range s.best {
			rows[h][s.from+i] = float32(v)
		}
	}
}

// score fills best for the time centreS: the best over the slopes.
func (s *scorer) score(centreS float64) {
	for i := range s.best {
		s.best[i] = math.Inf(-1)
	}
	for k, slope := range s.zoom.slopes {
		lines, ok := s.spectra.at(centreS, k)
		if !ok {
			for i := range s.best {
				s.best[i] = 0
			}
			return
		}
		for i := range s.groups {
			s.groups[i].mean(lines)
		}
		s.compare(0.01 * math.Abs(slope))
	}
}

// Shares of the two kinds of wrong places in what is held against a
// candidate. They add up to 1, so that noise scores about 0.
const (
	weakShare    = 0.25
	betweenShare = 0.75
)

// compare raises best to the scores of the present group means, less a toll:
// a steady engine is the rule, steep ones must earn it.
func (s *scorer) compare(toll float64) {
	odd, even := &s.groups[oddOrders], &s.groups[evenOrders]
	weak, gaps := &s.groups[weakOrders], &s.groups[between]
	for i := range s.best {
		var right float64
		switch o, e := odd.acc[i], even.acc[i]; {
		case odd.sum[i] > 0 && even.sum[i] > 0:
			// Both must be filled alike: at half the true revs every other
			// tooth meets nothing, or only the lower lines of unequal
			// cylinders.
			right = math.Min(o, e)
		case odd.sum[i] > 0:
			right = o
		case even.sum[i] > 0:
			right = e
		default:
			s.best[i] = math.Max(s.best[i], 0)
			continue
		}
		wrong := gaps.acc[i]
		if weak.sum[i] > 0 {
			wrong = weakShare*weak.acc[i] + betweenShare*gaps.acc[i]
		}
		s.best[i] = math.Max(s.best[i], right-wrong-toll)
	}
}

// mean sets acc to the weighted mean level of the lines the teeth meet.
func (g *group) mean(lines []float64) {
	clear(g.acc)
	for _, t := range g.teeth {
		end := min(len(g.acc), len(lines)-t.offset)
		floats.AddScaled(g.acc[:end], t.weight, lines[t.offset:t.offset+end])
	}
	for i, sum := range g.sum {
		if sum > 0 {
			g.acc[i] /= sum
		}
	}
}
