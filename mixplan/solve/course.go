package solve

import (
	"math"
	"slices"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/duck"
	"tachbench/mixplan/meet"
)

// courseRateHz is the grid on which the ducking law is followed here, from at
// least leadInS before a callout.
const (
	courseRateHz = 1000
	leadInS      = 2
)

// course is what a plan does to the meetings of a callout.
type course struct {
	// gains holds, for each meeting, the gains of all buses at each of the
	// callout's moments; one for all of them if they are alike.
	gains [][][]sii.Masker
	// speech is the callout's spectrum in each meeting; nil if it never yields.
	speech []sii.Levels
}

// courseOf follows the ducking law along a callout. While only callouts are
// yielded to, that is the same in every meeting; a plan under which sounds
// yield to others too makes it depend on what is met.
func (r *Result) courseOf(pkg *meet.Package, callout int, meetings []meet.Meeting) course {
	at := pkg.Moments(callout)
	if !r.mutual() || len(at) == 0 {
		return course{gains: [][][]sii.Masker{r.gainsAt(pkg, at, said{}.callout(pkg.Callouts[callout]), pkg.Unity())}}
	}
	var c course
	s := pkg.Callouts[callout]
	yields := len(r.Plan.Yielding(meet.Callout)) > 0
	frames := make([]float64, len(s.Power))
	for f := range frames {
		frames[f] = (float64(f) + 0.5) * pkg.StepS
	}
	for _, m := range meetings {
		heard := said{}.callout(s).meeting(pkg, m)
		c.gains = append(c.gains, r.gainsAt(pkg, at, heard, pkg.Unity()))
		if yields {
			c.speech = append(c.speech, yielding(s, pkg.RateHz, attenuation(r.Plan.Yielding(meet.Callout), heard, frames)))
		}
	}
	return c
}

// mutual reports whether the plan lets something yield to another category
// than the callouts.
func (r *Result) mutual() bool {
	return slices.ContainsFunc(r.Plan.Ducks, func(d mixplan.Duck) bool { return d.Under != meet.Callout && d.DepthDB > 0 })
}

// indices returns the index of every meeting of a callout that is raised by db.
func (c course) indices(pkg *meet.Package, q *meet.Prepared, callout int, hall *sii.Masker, db float64) []float64 {
	return c.moments(pkg, q, callout, hall, db).means()
}

// moments returns the index at every moment of every meeting of a callout that
// is raised by db.
func (c course) moments(pkg *meet.Package, q *meet.Prepared, callout int, hall *sii.Masker, db float64) moments {
	out := newMoments(q)
	l := pkg.Callouts[callout].Listener()
	if db != 0 {
		q = pkg.Louder(q, callout, l, db)
	}
	for m := range q.Meetings() {
		if c.speech != nil {
			own := *q
			e := c.speech[m]
			for i := range e {
				e[i] += db
			}
			own.Talker = l.Hear(e)
			own.IndexMoments(out.of(m), m, hall, c.gains[m]...)
			continue
		}
		q.IndexMoments(out.of(m), m, hall, c.gains[min(m, len(c.gains)-1)]...)
	}
	return out
}

// stretch is when a category speaks, in seconds from the callout's start.
type stretch struct {
	category   string
	fromS, toS float64
}

// said is everything that is spoken around a callout.
type said []stretch

func (s said) callout(c *meet.Sound) said {
	for _, a := range c.Spans {
		s = append(s, stretch{meet.Callout, a.FromS, a.ToS})
	}
	return s
}

// meeting adds what else a meeting holds. What goes round, and the engine, is
// there all the time.
func (s said) meeting(pkg *meet.Package, m meet.Meeting) said {
	for _, w := range m.With {
		b := pkg.Buses[w.Bus]
		o := b.Sounds[w.Sound]
		switch {
		case o.RPM > 0 || o.Bed() && len(o.Spans) > 0:
			s = append(s, stretch{b.Category, math.Inf(-1), math.Inf(1)})
		case !o.Bed():
			at := -float64(w.At) * pkg.StepS
			for _, a := range o.Spans {
				s = append(s, stretch{b.Category, at + a.FromS, at + a.ToS})
			}
		}
	}
	return s
}

// gainsAt returns the gains of all buses at given seconds from a callout's
// start, which ascend.
func (r *Result) gainsAt(pkg *meet.Package, at []float64, heard said, open []sii.Masker) [][]sii.Masker {
	out := make([][]sii.Masker, max(1, len(at)))
	for i := range out {
		out[i] = slices.Clone(open)
	}
	if len(at) == 0 {
		return out
	}
	for b, bus := range pkg.Buses {
		rules := r.Plan.Yielding(bus.Category)
		if len(rules) == 0 {
			continue
		}
		d := attenuation(rules, heard, at)
		for i := range at {
			if i > 0 && d.same(i, i-1) {
				out[i][b] = out[i-1][b]
				continue
			}
			out[i][b] = d.gain(pkg.RateHz, i)
		}
	}
	return out
}

// attenuation follows the rules of one category at given seconds, which ascend.
func attenuation(rules []mixplan.Duck, heard said, at []float64) depths {
	fromS := -float64(leadInS)
	for _, s := range heard {
		if !math.IsInf(s.fromS, -1) {
			fromS = math.Min(fromS, math.Floor(s.fromS)-leadInS)
		}
	}
	endS := at[len(at)-1]
	walk := func(rules []mixplan.Duck) []float64 {
		for i := range rules {
			rules[i].Dip = nil // the attenuation is the same with one
		}
		c := duck.New(courseRateHz, rules[0].Category, rules)
		for _, s := range heard {
			c.Speak(s.category, math.Max(s.fromS, fromS)-fromS, math.Min(s.toS, endS+1)-fromS)
		}
		all := make([]float64, int(courseRateHz*(endS-fromS))+2)
		c.Next(all)
		out := make([]float64, len(at))
		for i, t := range at {
			out[i] = all[int(courseRateHz*(t-fromS))]
		}
		return out
	}
	var broad []mixplan.Duck
	out := depths{broadDB: make([]float64, len(at))}
	banded := map[mixplan.Dip][]mixplan.Duck{}
	for _, d := range rules {
		if d.Dip == nil {
			broad = append(broad, d)
			continue
		}
		if banded[*d.Dip] == nil {
			out.dips = append(out.dips, *d.Dip)
		}
		banded[*d.Dip] = append(banded[*d.Dip], d)
	}
	if len(broad) > 0 {
		out.broadDB = walk(broad)
	}
	for _, b := range out.dips {
		deepest := 0.0
		for _, d := range banded[b] {
			deepest = max(deepest, d.DepthDB)
		}
		a := walk(banded[b])
		for i, v := range out.broadDB {
			a[i] = max(0, a[i]-v)
		}
		out.deepest, out.dipDB = append(out.deepest, deepest), append(out.dipDB, a)
	}
	return out
}

// same reports whether nothing moves between two seconds.
func (d depths) same(i, j int) bool {
	if d.broadDB[i] != d.broadDB[j] {
		return false
	}
	for _, a := range d.dipDB {
		if a[i] != a[j] {
			return false
		}
	}
	return true
}

// gain is the power gain of every band at a second, for a sound that fills its
// bands evenly.
func (d depths) gain(rateHz, i int) sii.Masker {
	db := gainsDB(rateHz, nil, 0, d.broadDB[i])
	for j := range d.dips {
		for k, g := range gainsDB(rateHz, &d.dips[j], d.deepest[j], d.dipDB[j][i]) {
			db[k] += g
		}
	}
	return maskerGains(db)
}

// yielding is the spectrum of a callout that yields itself; d holds the middle
// of each of its frames.
func yielding(s *meet.Sound, rateHz int, d depths) sii.Levels {
	frames := slices.Clone(s.Power)
	for i := range frames {
		for k, g := range d.gain(rateHz, i) {
			frames[i][k] *= g
		}
	}
	return longTerm(frames, s.Active)
}
