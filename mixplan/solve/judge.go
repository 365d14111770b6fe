package solve

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tachbench/analysis/sii"
	"tachbench/mixplan/meet"
)

// aloneDraws is at how many places a callout meets one other sound.
const aloneDraws = 8

// figures returns the 10th percentile of every callout with the plan.
func (r *Result) figures(p *problem) []float64 {
	out := make([]float64, len(p.prepared))
	parallel(len(out), p.workers, func(i int) { out[i] = quantile(p.with(i, r.courseOf(p.pkg, i, r.meetings(p.pkg, i)), 0)) })
	return out
}

// judge measures every callout without and with the plan. p holds the trimmed
// package and the plan's dips, plain the package as it came.
func (r *Result) judge(p, plain *problem, o Options) {
	r.Callouts = make([]Outcome, len(p.prepared))
	r.met.plain, r.met.planned = plain.base, make([][]float64, len(p.prepared))
	open := p.pkg.Unity()
	parallel(len(r.Callouts), p.workers, func(i int) {
		c := &r.Callouts[i]
		c.Sound = p.pkg.Callouts[i]
		course := r.courseOf(p.pkg, i, r.meetings(p.pkg, i))
		moments := course.moments(p.pkg, p.prepared[i], i, &p.hall, p.raisedDB)
		with := moments.means()
		r.met.planned[i] = with
		c.Plain, c.Planned = statOf(plain.base[i]), statOf(with)
		c.WeakPlain, c.WeakPlanned = r.met.weakPlain[i], moments.weak()
		weakest, below := moments.weakest()
		c.WeakestAtS, c.WeakestBelow = math.NaN(), below
		if at := p.pkg.Moments(i); len(at) > 0 {
			c.WeakestAtS = at[weakest]
		}
		steps := p.pkg.Steps()
		for _, k := range middles(plain.base[i], steps) {
			c.StepsPlain, c.StepsPlanned = append(c.StepsPlain, plain.base[i][k]), append(c.StepsPlanned, with[k])
		}
		l := c.Sound.Listener()
		c.Hall = p.pkg.Prepare(i, l, meet.Hall()).Index(0, &p.hall, open)
		c.Against = r.against(p, plain, i, l, course, o)
		c.RoomDB = CeilingDBTP - (c.Sound.PeakDBTP - r.Plan.BusGainDB) // of the file
		c.WorstWith = p.worstWith(i, with, o)
		p.limit(c, i, course, r.Target)
	})
	r.CostDB2 = 0
	for _, q := range r.Pairs {
		r.CostDB2 += q.Dear * q.LossDB * q.LossDB
	}
}

func statOf(index []float64) Stat {
	if len(index) == 0 || math.IsNaN(index[0]) {
		return Stat{math.NaN(), math.NaN(), math.NaN()}
	}
	return Stat{slices.Min(index), quantile(index), median(index)}
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Clone(v)
	slices.Sort(s)
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

// against lets a callout meet each other sound alone.
func (r *Result) against(p, plain *problem, callout int, l *sii.Listener, course course, o Options) []Against {
	var out []Against
	open := p.pkg.Unity()
	for b, bus := range p.pkg.Buses {
		for s, sound := range bus.Sounds {
			m := p.pkg.Alone(callout, b, s, aloneDraws, o.Seed)
			q := p.pkg.Prepare(callout, l, m)
			without := make([]float64, len(m))
			if r.mutual() {
				course = r.courseOf(p.pkg, callout, m)
			}
			with := course.indices(p.pkg, q, callout, &p.hall, 0)
			// As it came: the same frames, less what the trims did to both.
			own, other := p.pkg.Callouts[callout].AppliedDB(), sound.AppliedDB()
			back := slices.Clone(open)
			for k := range back[b] {
				back[b][k] = math.Pow(10, -other/10)
			}
			p.pkg.Louder(q, callout, l, -own).Indices(without, &plain.hall, back)
			out = append(out, Against{bus.Category, sound.Path, sound.RPM, median(without), median(with)})
		}
	}
	return out
}

// worstWith names what a callout met at its worst.
func (p *problem) worstWith(callout int, index []float64, o Options) string {
	if len(index) == 0 || math.IsNaN(index[0]) {
		return ""
	}
	worst := 0
	for i, v := range index {
		if v < index[worst] {
			worst = i
		}
	}
	var names []string
	for _, w := range p.pkg.Meetings(callout, o.Seed)[worst].With {
		names = append(names, p.pkg.Buses[w.Bus].Sounds[w.Sound].Path)
	}
	return strings.Join(names, ", ")
}

// A callout is raised in steps of raiseStepDB, up to raiseMostDB, to see
// whether more level would help: the index is not monotone in it.
const (
	raiseStepDB = 0.5
	raiseMostDB = 20
)

// limit finds what keeps a callout from the target and what would help.
func (p *problem) limit(c *Outcome, callout int, course course, target float64) {
	c.LimitedBy = LimitNone
	if !(c.Planned.P10 < target) { // reached, or nothing to understand
		return
	}
	c.RaiseDB = math.NaN()
	for db := raiseStepDB; db <= raiseMostDB; db += raiseStepDB {
		if quantile(p.with(callout, course, db)) >= target {
			c.RaiseDB = db
			break
		}
	}
	switch {
	case c.Hall < target:
		c.LimitedBy = LimitHall
	case !(c.RaiseDB <= c.RoomDB):
		c.LimitedBy = LimitHeadroom
	default:
		c.LimitedBy = LimitDepth
	}
	if c.LimitedBy != LimitHall {
		now := course.gains[0]
		c.Obstacle = p.obstacle(c, now[len(now)/2])
	}
}

// sentence says in one sentence, for anybody, what becomes of a callout.
func (r *Result) sentence(c *Outcome) string {
	if math.IsNaN(c.Planned.P10) {
		return "There is no speech in it, so there is nothing to understand."
	}
	before, after := sii.Judge(c.Plain.P10), sii.Judge(c.Planned.P10)
	if c.LimitedBy == LimitNone {
		plain, planned := shown(c.Plain.P10), shown(c.Planned.P10)
		switch {
		case plain == planned && c.Plain.P10 >= r.Target:
			return fmt.Sprintf("Understood with the plan as without it (%.2f).", planned)
		case c.Plain.P10 >= r.Target && planned > plain:
			return fmt.Sprintf("Understood already, and with the plan by a wider margin: %.2f, was %.2f.", planned, plain)
		case c.Plain.P10 >= r.Target:
			return fmt.Sprintf("Still understood, by a smaller margin because of trims and the gain of the sum: %.2f, was %.2f.", planned, plain)
		case before == after:
			return fmt.Sprintf("Under the target of %g without the plan, over it with the plan: %.2f, was %.2f.", r.Target, planned, plain)
		}
		return fmt.Sprintf("%s without the plan, %s with it: %.2f, was %.2f.", inWords(before), after, shown(c.Planned.P10), shown(c.Plain.P10))
	}
	help := "no more level would help; a shorter text or a recording spoken with more effort may"
	if !math.IsNaN(c.RaiseDB) {
		help = fmt.Sprintf("%.1f dB more level would do it, and its peaks leave room for that", c.RaiseDB)
		if c.RaiseDB > c.RoomDB {
			help = fmt.Sprintf("%.1f dB more level would do it, but its peaks leave only %.1f dB: record it again with more effort, or denser", c.RaiseDB, math.Max(0, c.RoomDB))
		}
	}
	state := "Stays " + after.String()
	if after >= sii.Understood {
		state = fmt.Sprintf("%s, but under the target of %g", inWords(after), r.Target)
	}
	switch c.LimitedBy {
	case LimitHall:
		return fmt.Sprintf("%s (%.2f): the hall alone leaves it no more than %.2f, so nothing that yields can save it; %s.", state, shown(c.Planned.P10), shown(c.Hall), help)
	case LimitHeadroom:
		return fmt.Sprintf("%s (%.2f, was %.2f) with everything yielding as the plan says; %s%s.", state, shown(c.Planned.P10), shown(c.Plain.P10), help, c.Obstacle.advice())
	}
	return fmt.Sprintf("%s (%.2f, was %.2f) although everything yields as the plan says; %s%s.", state, shown(c.Planned.P10), shown(c.Plain.P10), help, c.Obstacle.advice())
}

// shown cuts an index to two decimals: rounded up it would seem to reach what
// it does not.
func shown(index float64) float64 { return math.Floor(index*100+1e-9) / 100 }

func inWords(q sii.Quality) string {
	switch q {
	case sii.Lost:
		return "Lost"
	case sii.Guessable:
		return "Only to be guessed"
	case sii.Understood:
		return "Understood"
	}
	return "Clear"
}
