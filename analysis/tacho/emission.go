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
	{2, 0, 13, []float64{0, 0.15, -0.15, 0.35, -0.35, 0.65, -0.65, 1, -1}, 2},
	{1, 13, 28, []float64{0, 0.3, -0.3, 0.7, -0.7, 1.2, -1.2}, 1},
	{0, 28, math.Inf(1), []float64{0, 0.5, -0.5, 1.2, -1.2, 2.5, -2.5}, 1},
}

// againstWeight is how much lines at wrong places weigh against lines at
// right ones. With w, a candidate at twice the revs scores 1-w/2 and one at
// half the revs 1/2, so the two are held off evenly near 1.
const againstWeight = 0.9

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
		newScorer(sig, z, l, g, teeth, from, to).run(rows)
	}
	return rows
}

// scorer turns the spectra of one zoom into scores for grid places from..to.
type scorer struct {
	zoom     zoom
	spectra  *logSpectra
	from, to int
	pro      []shift
	contra   []shift
	proSum   []float64 // per place: weight of the teeth inside the spectrum
	conSum   []float64
	accPro   []float64
	accCon   []float64
	best     []float64
}

// shift is a tooth on the log axis: candidate i meets spectrum bin i+offset.
type shift struct {
	offset int
	weight float64
}

func newScorer(sig signal, z zoom, l crank.Layout, g grid, teeth []tooth, from, to int) *scorer {
	n := to - from
	lowHz := l.CycleHz(g.rpm(float64(from))) / 2
	s := &scorer{
		zoom: z, from: from, to: to,
		spectra: newLogSpectra(sig, z.halvings, lowHz, g.logStep, z.slopes),
		proSum:  make([]float64, n), conSum: make([]float64, n),
		accPro: make([]float64, n), accCon: make([]float64, n), best: make([]float64, n),
	}
	for _, t := range teeth {
		// Bin 0 of the spectrum is half the cycle rate of the first place.
		off := int(math.Round(math.Log(2*t.multiple) / g.logStep))
		if off >= s.spectra.bins {
			continue
		}
		end := min(n, s.spectra.bins-off)
		if t.pro > 0 {
			s.pro = append(s.pro, shift{off, t.pro})
			floats.AddConst(t.pro, s.proSum[:end])
		}
		if t.contra > 0 {
			s.contra = append(s.contra, shift{off, t.contra})
			floats.AddConst(t.contra, s.conSum[:end])
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
		sumShifts(s.accPro, lines, s.pro)
		sumShifts(s.accCon, lines, s.contra)
		// A steady engine is the rule; steep ones must earn it.
		toll := 0.03 * math.Abs(slope)
		for i := range s.best {
			if s.proSum[i] == 0 {
				s.best[i] = 0
				continue
			}
			v := s.accPro[i] / s.proSum[i]
			if s.conSum[i] > 0 {
				v -= againstWeight*s.accCon[i]/s.conSum[i] + (1 - againstWeight)
			}
			s.best[i] = math.Max(s.best[i], v-toll)
		}
	}
}

func sumShifts(acc, lines []float64, shifts []shift) {
	clear(acc)
	for _, t := range shifts {
		end := min(len(acc), len(lines)-t.offset)
		floats.AddScaled(acc[:end], t.weight, lines[t.offset:t.offset+end])
	}
}
