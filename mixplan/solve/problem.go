package solve

import (
	"fmt"
	"math"
	"runtime"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/meet"
)

// percentile is the share of meetings in which a callout may fail.
const percentile = 0.1

// problem is all callouts before one hall. Depths are in the order of the
// package's buses.
type problem struct {
	pkg      *meet.Package
	hall     sii.Masker
	prepared []*meet.Prepared // by callout
	aim      []float64        // what each has to reach; NaN: nothing
	dips     []*mixplan.Dip   // by bus, nil is all frequencies
	spectrum []ear.Levels     // by bus, long-term
	workers  int
	raisedDB float64 // every callout, beyond what is in the package; with only

	base  [][]float64 // by callout and meeting, with nothing yielding
	order [][]int     // by callout: meetings that need a look, worst first
	first []int       // callouts, the likeliest to fail first
	known []memory    // by callout, for the aims and dips as they are
}

// newProblem evaluates every meeting with nothing yielding. Callouts without
// speech aim at nothing.
func newProblem(pkg *meet.Package, hall sii.Masker, prepared []*meet.Prepared, target float64, workers int) *problem {
	p := &problem{pkg: pkg, hall: hall, prepared: prepared, aim: make([]float64, len(prepared)), dips: make([]*mixplan.Dip, len(pkg.Buses)), workers: workers}
	for _, b := range pkg.Buses {
		p.spectrum = append(p.spectrum, meet.Together(b.Sounds))
	}
	p.base = make([][]float64, len(prepared))
	p.known = make([]memory, len(prepared))
	p.order = make([][]int, len(prepared))
	open := pkg.Unity()
	parallel(len(prepared), workers, func(i int) {
		p.base[i] = make([]float64, prepared[i].Meetings())
		prepared[i].Indices(p.base[i], &hall, open)
	})
	for i := range prepared {
		p.aimAt(i, target)
		p.first = append(p.first, i)
	}
	slices.SortStableFunc(p.first, func(a, b int) int {
		return compare(quantile(p.base[a]), quantile(p.base[b]))
	})
	return p
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// aimAt sets what a callout has to reach.
func (p *problem) aimAt(callout int, target float64) {
	p.aim[callout] = target
	p.known[callout] = memory{}
	p.order[callout] = p.order[callout][:0]
	if math.IsNaN(target) {
		return
	}
	if !p.prepared[callout].Speaks() {
		p.aim[callout] = math.NaN()
		return
	}
	for m, v := range p.base[callout] {
		if v < target { // the index never falls when something yields
			p.order[callout] = append(p.order[callout], m)
		}
	}
	slices.SortStableFunc(p.order[callout], func(a, b int) int { return compare(p.base[callout][a], p.base[callout][b]) })
}

// dip sets the band of a bus.
func (p *problem) dip(bus int, d *mixplan.Dip) {
	p.dips[bus] = d
	for c := range p.known {
		p.known[c] = memory{}
	}
}

// rank is how many of n meetings a callout may fail.
func rank(n int) int { return int(percentile * float64(n-1)) }

// quantile is the figure of a callout: what it reaches in nine of ten
// meetings. Its argument is not changed. NaN without meetings.
func quantile(index []float64) float64 {
	if len(index) == 0 {
		return math.NaN()
	}
	s := slices.Clone(index)
	slices.Sort(s)
	return s[rank(len(s))]
}

// gains returns the power gains of all buses at their depths.
func (p *problem) gains(depth []float64) []sii.Masker {
	out := make([]sii.Masker, len(depth))
	for b, d := range depth {
		out[b] = maskerGains(gainsDB(p.pkg.RateHz, p.dips[b], d, d))
	}
	return out
}

// losses returns by how much each bus becomes less loud.
func (p *problem) loss(bus int, depth float64) float64 {
	if p.dips[bus] == nil {
		return depth
	}
	return lossDB(p.spectrum[bus], gainsDB(p.pkg.RateHz, p.dips[bus], depth, depth))
}

// reaches reports whether a callout reaches its aim, looking at as few
// meetings as the answer needs.
func (p *problem) reaches(callout int, gains []sii.Masker) bool {
	may := rank(len(p.base[callout]))
	below, left := 0, len(p.order[callout])
	for _, m := range p.order[callout] {
		if below+left <= may {
			return true
		}
		left--
		if p.prepared[callout].Index(m, &p.hall, gains) < p.aim[callout] {
			if below++; below > may {
				return false
			}
		}
	}
	return true
}

// with returns the index of every meeting under a plan, the callout raised by
// db beyond what the problem raises it by.
func (p *problem) with(callout int, c course, db float64) []float64 {
	return c.indices(p.pkg, p.prepared[callout], callout, &p.hall, p.raisedDB+db)
}

// enough reports whether every callout reaches its aim.
func (p *problem) enough(depth []float64) bool {
	gains := p.gains(depth)
	var failed atomic.Bool
	var at atomic.Int64
	at.Store(-1)
	parallel(len(p.first), p.workers, func(i int) {
		c := p.first[i]
		if failed.Load() || math.IsNaN(p.aim[c]) {
			return
		}
		answer, ok := p.known[c].knows(depth)
		if !ok {
			answer = p.reaches(c, gains)
			p.known[c].learn(depth, answer)
		}
		if !answer {
			failed.Store(true)
			at.Store(int64(i))
		}
	})
	if i := at.Load(); i > 0 { // next time this one first; changes no answer
		c := p.first[i]
		copy(p.first[1:i+1], p.first[:i])
		p.first[0] = c
	}
	return !failed.Load()
}

// knobs are the buses with their limits; most may hold lower ones.
func (p *problem) knobs(most []float64) []knob {
	var out []knob
	for b, bus := range p.pkg.Buses {
		out = append(out, knob{dearness(bus.Category), most[b]})
	}
	return out
}

// parallel calls do for 0 to n-1 on several cores, in about this order. A panic
// in one of them is the caller's, as without cores.
func parallel(n, workers int, do func(int)) {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	if workers = min(workers, n); workers <= 1 {
		for i := range n {
			do(i)
		}
		return
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	var once sync.Once
	var fault any
	for range workers {
		wg.Go(func() {
			defer func() {
				if p := recover(); p != nil {
					once.Do(func() { fault = fmt.Sprintf("%v\n\n%s", p, debug.Stack()) })
				}
			}()
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wg.Wait()
	if fault != nil {
		panic(fault)
	}
}
