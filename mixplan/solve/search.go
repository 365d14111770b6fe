package solve

import "slices"

// knob is one depth to be found.
type knob struct {
	dear float64 // weight of its square, > 0
	most float64 // largest depth, dB, 0 or more
}

// stepDB is the precision of the search.
const stepDB = 0.02

// search minimises Σ dear·a² over the depths with enough(a), which must be
// closed upwards. It reports false if even the largest depths are not enough.
func search(knobs []knob, enough func(a []float64) bool) ([]float64, bool) {
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
	for d := 4.0; d >= 0.1; d /= 2 {
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
	for hi-lo > stepDB/10 {
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

// trade raises one knob by d and lowers another as far as it goes; or lowers
// one by d and raises another until it is enough. It keeps the first trade
// that saves something.
func (s searcher) trade(a []float64, d float64) bool {
	before := s.cost(a)
	try := make([]float64, len(a))
	for up := range a {
		if a[up] >= s.knobs[up].most {
			continue
		}
		copy(try, a)
		try[up] = min(a[up]+d, s.knobs[up].most)
		for i := range a { // the dearest others first
			if down := s.dearest(a, i); down != up {
				// Worth a look only if it could pay at all.
				s.lower(try, down)
			}
		}
		if s.cost(try) < before*(1-1e-4) {
			copy(a, try)
			return true
		}
		for down := range a {
			if down == up || a[down] == 0 {
				continue
			}
			copy(try, a)
			try[up] = min(a[up]+d, s.knobs[up].most)
			s.lower(try, down)
			if s.cost(try) < before*(1-1e-4) {
				copy(a, try)
				return true
			}
		}
	}
	return false
}
