package solve

import (
	"math"
	"slices"
)

// knob is one depth to be found.
type knob struct {
	dear float64 // weight of its square, > 0
	most float64 // largest depth, dB, 0 or more
}

// stepDB is the precision of the search.
const stepDB = 0.03

// memory answers again what follows from answers given: what is enough stays
// so when anything is deeper.
type memory struct{ yes, no [][]float64 }

func under(a, b []float64) bool {
	for i := range a {
		if a[i] > b[i] {
			return false
		}
	}
	return true
}

// knows returns the answer if it follows.
func (m *memory) knows(a []float64) (answer, ok bool) {
	for _, y := range m.yes {
		if under(y, a) {
			return true, true
		}
	}
	for _, n := range m.no {
		if under(a, n) {
			return false, true
		}
	}
	return false, false
}

// learn keeps an answer, and of all answers only those that say most.
func (m *memory) learn(a []float64, answer bool) {
	a = slices.Clone(a)
	if answer {
		m.yes = append(slices.DeleteFunc(m.yes, func(y []float64) bool { return under(a, y) }), a)
		return
	}
	m.no = append(slices.DeleteFunc(m.no, func(n []float64) bool { return under(n, a) }), a)
}

// search minimises Σ dear·a² over the depths with enough(a), which must be
// closed upwards. It reports false if even the largest depths are not enough.
func search(knobs []knob, enough func(a []float64) bool) ([]float64, bool) {
	return searchTo(0.1, knobs, enough)
}

// searchTo is search that trades no less than finest, dB.
func searchTo(finest float64, knobs []knob, enough func(a []float64) bool) ([]float64, bool) {
	var known memory
	ask := enough
	enough = func(a []float64) bool {
		if answer, ok := known.knows(a); ok {
			return answer
		}
		answer := ask(a)
		known.learn(a, answer)
		return answer
	}
	n := len(knobs)
	top := make([]float64, n)
	for i, k := range knobs {
		top[i] = k.most
	}
	if enough(make([]float64, n)) {
		return make([]float64, n), true
	}
	if n == 0 || !enough(top) {
		return nil, false
	}
	s := searcher{knobs, enough}
	var best []float64
	for _, line := range s.lines() {
		a := s.along(line)
		for i := range a { // what the line took too much of
			s.lower(a, s.dearest(a, i))
		}
		if best == nil || s.cost(a) < s.cost(best) {
			best = a
		}
	}
	for d := 4.0; d >= finest; d /= 2 {
		for s.trade(best, d) {
		}
	}
	return best, true
}

type searcher struct {
	knobs  []knob
	enough func([]float64) bool
}

func (s searcher) cost(a []float64) float64 {
	sum := 0.0
	for i, k := range s.knobs {
		sum += k.dear * a[i] * a[i]
	}
	return sum
}

// lines are directions to start from: depth by what it costs, all alike, and
// each knob first.
func (s searcher) lines() [][]float64 {
	byCost, alike := make([]float64, len(s.knobs)), make([]float64, len(s.knobs))
	for i, k := range s.knobs {
		byCost[i], alike[i] = 1/k.dear, 1
	}
	out := [][]float64{byCost, alike}
	for i := range s.knobs {
		one := slices.Clone(byCost)
		one[i] *= 20
		out = append(out, one)
	}
	return out
}

// along returns the first point of a line that is enough; the knobs stop at
// their ends.
func (s searcher) along(line []float64) []float64 {
	at := func(t float64) []float64 {
		a := make([]float64, len(line))
		for i, v := range line {
			a[i] = min(t*v, s.knobs[i].most)
		}
		return a
	}
	hi := 0.0
	for i, v := range line {
		hi = max(hi, s.knobs[i].most/v)
	}
	lo := 0.0
	steepest := 0.0
	for _, v := range line {
		steepest = max(steepest, v)
	}
	for (hi-lo)*steepest > stepDB {
		if t := (lo + hi) / 2; s.enough(at(t)) {
			hi = t
		} else {
			lo = t
		}
	}
	return at(hi)
}

// dearest returns the knob with the i-th largest marginal cost.
func (s searcher) dearest(a []float64, i int) int {
	order := make([]int, len(a))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(x, y int) int {
		switch cx, cy := s.knobs[x].dear*a[x], s.knobs[y].dear*a[y]; {
		case cx > cy:
			return -1
		case cx < cy:
			return 1
		}
		return 0
	})
	return order[i]
}

// lower brings knob i as far down as the others allow, in place.
func (s searcher) lower(a []float64, i int) {
	lo, hi := 0.0, a[i]
	if hi == 0 {
		return
	}
	a[i] = 0
	if s.enough(a) {
		return
	}
	for hi-lo > stepDB {
		a[i] = (lo + hi) / 2
		if s.enough(a) {
			hi = a[i]
		} else {
			lo = a[i]
		}
	}
	a[i] = hi
}

// saving is the share of the cost that a trade has to save.
const saving = 1e-3

// trade raises one knob by d and lowers another as far as it goes, or all
// others if none alone pays: several callouts may each hold another one. It
// keeps the first trade that saves something.
func (s searcher) trade(a []float64, d float64) bool {
	goal := s.cost(a) * (1 - saving)
	try := make([]float64, len(a))
	for up := range a {
		if a[up] >= s.knobs[up].most {
			continue
		}
		raised := min(a[up]+d, s.knobs[up].most)
		for down := range a {
			if down == up || a[down] == 0 {
				continue
			}
			copy(try, a)
			try[up], try[down] = raised, 0
			// The depth from which the trade pays; nearly always it is not
			// enough, and that is all there is to ask.
			rest := (goal - s.cost(try)) / s.knobs[down].dear
			if rest < 0 {
				continue
			}
			try[down] = min(math.Sqrt(rest), a[down])
			if s.enough(try) {
				s.lower(try, down)
				copy(a, try)
				return true
			}
		}
		if len(a) < 3 {
			continue
		}
		copy(try, a)
		try[up] = raised
		for i := range a {
			if down := s.dearest(a, i); down != up && try[down] > 0 {
				was := try[down]
				if try[down] = max(0, was-2*stepDB); !s.enough(try) {
					try[down] = was
					continue
				}
				s.lower(try, down)
			}
		}
		if s.cost(try) < goal {
			copy(a, try)
			return true
		}
	}
	return false
}
