package solve

import (
	"cmp"
	"context"
	"fmt"
	"math"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/meet"
	"tachbench/samples"
	"tachbench/samples/sheet"
)

// Options of a plan.
type Options struct {
	Target  float64 // index to be reached, 0 means sii.UnderstoodFrom
	Seed    uint64  // of the meetings
	Workers int     // 0: all cores
	// BusGain, if not nil, is asked once for the gain of the sum that a plan
	// without one needs, 0 or less, and the reason for it. A gain makes the
	// machine softer against the hall, so the plan is then found again.
	BusGain func(*mixplan.Plan) (db float64, why string, err error)
}

// Result is a plan and what it does.
type Result struct {
	Target   float64
	Plan     *mixplan.Plan
	Made     bool // by Solve; else it was given to Check
	Trims    []Trimmed
	Pairs    []Pair // one for each category that could yield
	Callouts []Outcome
	CostDB2  float64 // annoyance, see the package comment
	Shifts   []Shift // how the answer moves
	Clashes  Clashes
	Notes    []string

	met met
}

// Pair is one category under the callouts.
type Pair struct {
	Category string
	MostDB   float64 // how far it may yield
	Dear     float64 // cost of a dB²
	BroadDB  float64 // depth with all frequencies, all categories together
	// AloneDB is the depth that would do if nothing else yielded; NaN if none.
	AloneDB float64
	DepthDB float64      // what the plan says
	Dip     *mixplan.Dip // nil: all frequencies
	LossDB  float64      // loudness level that the category loses
	// The best band instead of all frequencies, at the same understanding;
	// nil if no band does it.
	BestDip               *mixplan.Dip
	DipDepthDB, DipLossDB float64
}

// Level words of Outcome.LimitedBy, as the contract has them.
const (
	LimitNone     = "none"
	LimitHall     = "hall"
	LimitHeadroom = "headroom"
	LimitDepth    = "depth"
)

// Stat sums up the index over meetings.
// P10 is the lowest after the worst tenth.
type Stat struct{ Worst, P10, Median float64 }

// Outcome is one callout.
type Outcome struct {
	Sound          *meet.Sound // trimmed
	Plain, Planned Stat        // over all meetings; NaN without speech
	// The 10th percentile over all moments of all meetings (sii.Summary),
	// without and with the plan; NaN without speech. A word that drowns shows
	// here though the mean of its callout is fine. It is reported, not aimed at.
	WeakPlain, WeakPlanned float64
	// WeakestAtS is where with the plan: the moment with the lowest median over
	// the meetings, the first of such, in seconds from the first sample; NaN
	// without speech. WeakestBelow is by how much that median is under the mean
	// of all moments' medians: places are drawn, so that under StandsOut it is
	// chance which moment comes out lowest.
	WeakestAtS, WeakestBelow float64

	Hall         float64   // over the hall alone, trimmed
	StepsPlain   []float64 // of the middle one (without plan) of the meetings at each step of the engine
	StepsPlanned []float64 // of the same meetings
	Against      []Against // each other sound alone, in the order of the buses
	LimitedBy    string
	RaiseDB      float64   // more level that would do; 0 if none is needed, NaN if none helps
	RoomDB       float64   // what its peaks leave for that
	WorstWith    string    // what it met at its worst with the plan
	Obstacle     *Obstacle // nil if it reaches the target, or if the hall alone keeps it from it
	Sentence     string
}

// StandsOut is from which WeakestBelow on a place in a callout is worth naming:
// what the proof allows between two ways of measuring an index.
const StandsOut = ProofSII

// Against is a callout over the hall and one sound, the median over places.
type Against struct {
	Category, Path string
	RPM            float64
	Plain, Planned float64
}

// aimSlack is aimed at beyond the target, so that rounding cannot miss it.
const aimSlack = 0.0015

// Solve finds the plan of a package fresh from meet.Read; the package's sounds
// are trimmed by it for good. sh is the sheet it was read from.
func Solve(ctx context.Context, pkg *meet.Package, sh *sheet.Sheet, o Options) (*Result, error) {
	r, prepared := begin(pkg, o)
	r.Made = true
	r.Trims = trims(pkg, sh)
	r.Plan = &mixplan.Plan{Title: sh.Title, Trims: intoPlan(r.Trims)}
	plain := newProblem(pkg, pkg.Hall, prepared, r.Target, o.Workers)
	r.met.weakPlain = plain.weak()
	apply(pkg, r.Plan)
	most := limits(pkg, sh)
	last, err := r.depths(ctx, pkg, prepared, most, o, o.BusGain == nil)
	if err != nil {
		return nil, err
	}
	if o.BusGain != nil {
		if r.Plan.BusGainDB, r.Plan.BusGainWhy, err = o.BusGain(r.Plan); err != nil {
			return nil, err
		}
		apply(pkg, &mixplan.Plan{BusGainDB: r.Plan.BusGainDB})
		if last, err = r.depths(ctx, pkg, prepared, most, o, true); err != nil {
			return nil, err
		}
	}
	r.judge(last, plain, o)
	err = r.finish(ctx, pkg, last.prepared, most, o)
	return r, err
}

// depths finds the ducks for the package as it is trimmed now; bands are tried
// only if it is the last time.
func (r *Result) depths(ctx context.Context, pkg *meet.Package, prepared []*meet.Prepared, most []float64, o Options, bands bool) (*problem, error) {
	prepared = louder(pkg, prepared, 0)
	pace := paceOf(pkg.Callouts)
	for slack, round := aimSlack, 0; ; round++ {
		p := newProblem(pkg, pkg.Hall, prepared, r.Target+slack, o.Workers)
		p.lowerAims(most)
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		depth, _ := search(p.knobs(most), p.enough)
		for b := range depth {
			depth[b] = min(up(depth[b], 0.1), most[b])
		}
		r.Pairs = p.pairs(ctx, depth, most, bands)
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		r.write(pace)
		short := 0.0
		for i, figure := range r.figures(p) {
			if aim := p.aim[i] - slack; figure < aim {
				short = max(short, aim-figure)
			}
		}
		if short == 0 || round == 2 {
			return p, nil
		}
		slack += short + aimSlack // words outside the stretches that ducks know
	}
}

// Check judges a plan as it is. The plan must fit the sheet (mixplan.Plan.Fit).
func Check(ctx context.Context, pkg *meet.Package, sh *sheet.Sheet, plan *mixplan.Plan, o Options) (*Result, error) {
	r, prepared := begin(pkg, o)
	r.Plan = plan
	r.Trims = trims(pkg, sh)
	for i, t := range r.Trims {
		r.Trims[i].TrimDB, r.Trims[i].HeldDB, r.Trims[i].Why = plan.TrimDB(t.Category, t.Path), 0, "as "+cmp.Or(plan.File, "the plan")+" says"
		if peak := t.PeakDBTP + r.Trims[i].TrimDB; peak > CeilingDBTP {
			r.Notes = append(r.Notes, fmt.Sprintf("%s: the plan's trim brings its true peak to %.1f dBTP, over %d.", cmp.Or(t.Path, t.Category), peak, CeilingDBTP))
		}
	}
	for _, d := range plan.Ducks {
		if d.Under != meet.Callout {
			r.Notes = append(r.Notes, fmt.Sprintf("Category %s also yields to %s: meetings, proof and headroom count that in wherever %[2]s sounds; the annoyance counts only what yields to callouts.", d.Category, d.Under))
		}
	}
	plain := newProblem(pkg, pkg.Hall, prepared, r.Target, o.Workers)
	r.met.weakPlain = plain.weak()
	apply(pkg, plan)
	prepared = louder(pkg, prepared, 0)
	p := newProblem(pkg, pkg.Hall, prepared, r.Target, o.Workers)
	most := limits(pkg, sh)
	for b, bus := range pkg.Buses {
		d := duckUnder(plan, bus.Category)
		q := Pair{Category: bus.Category, MostDB: most[b], Dear: dearness(bus.Category), BroadDB: math.NaN(), AloneDB: math.NaN(), DepthDB: d.DepthDB, Dip: d.Dip}
		p.dips[b] = d.Dip
		q.LossDB = p.loss(b, d.DepthDB)
		r.Pairs = append(r.Pairs, q)
	}
	r.judge(p, plain, o)
	err := r.finish(ctx, pkg, prepared, nil, o)
	return r, err
}

func begin(pkg *meet.Package, o Options) (*Result, []*meet.Prepared) {
	r := &Result{Target: cmp.Or(o.Target, sii.UnderstoodFrom), Notes: append([]string(nil), pkg.Notes...), met: met{seed: o.Seed}}
	prepared := make([]*meet.Prepared, len(pkg.Callouts))
	parallel(len(prepared), o.Workers, func(i int) {
		prepared[i] = pkg.Prepare(i, pkg.Callouts[i].Listener(), r.meetings(pkg, i))
	})
	return r, prepared
}

// meetings draws the meetings of a callout that the result is about.
func (r *Result) meetings(pkg *meet.Package, callout int) []meet.Meeting {
	return pkg.Meetings(callout, r.met.seed)
}

// apply trims every sound of a package for good.
func apply(pkg *meet.Package, plan *mixplan.Plan) {
	for _, c := range pkg.Callouts {
		c.Apply(plan.TrimDB(c.Category, c.Path) + plan.BusGainDB)
	}
	for _, b := range pkg.Buses {
		for _, s := range b.Sounds {
			path := s.Path
			if s.RPM > 0 {
				path = ""
			}
			s.Apply(plan.TrimDB(b.Category, path) + plan.BusGainDB)
		}
	}
}

// louder returns the meetings with every callout as it is now, raised by db.
func louder(pkg *meet.Package, prepared []*meet.Prepared, db float64) []*meet.Prepared {
	out := make([]*meet.Prepared, len(prepared))
	for i, q := range prepared {
		out[i] = pkg.Louder(q, i, pkg.Callouts[i].Listener(), db)
	}
	return out
}

// limits are the largest depths; a category above the callouts never yields.
func limits(pkg *meet.Package, sh *sheet.Sheet) []float64 {
	var none *mixplan.Plan
	speaks, known := none.Priority(sh, meet.Callout)
	most := make([]float64, len(pkg.Buses))
	for b, bus := range pkg.Buses {
		most[b] = deepest(bus.Category)
		if own, ok := none.Priority(sh, bus.Category); ok && known && own > speaks {
			most[b] = 0
		}
	}
	return most
}

// lowerAims gives callouts that no depth can bring to the target the next lower
// limit of quality that they can reach, or none: what can still be done for
// them is done.
func (p *problem) lowerAims(most []float64) {
	gains := p.gains(most)
	parallel(len(p.prepared), p.workers, func(i int) {
		if math.IsNaN(p.aim[i]) || p.reaches(i, gains) {
			return
		}
		target := p.aim[i]
		for _, limit := range []float64{sii.ClearFrom, sii.UnderstoodFrom, sii.GuessableFrom} {
			if limit+aimSlack >= target {
				continue
			}
			if p.aimAt(i, limit+aimSlack); p.reaches(i, gains) {
				return
			}
		}
		p.aimAt(i, math.NaN())
	})
}

// duckUnder returns the duck of a category under the callouts, or none.
func duckUnder(plan *mixplan.Plan, category string) mixplan.Duck {
	for _, d := range plan.Yielding(category) {
		if d.Under == meet.Callout {
			return d
		}
	}
	return mixplan.Duck{}
}

// write turns the pairs into ducks.
func (r *Result) write(pace pace) {
	r.Plan.Ducks = nil
	for _, q := range r.Pairs {
		if q.DepthDB == 0 {
			continue
		}
		d := pace.duckOf(q.Category, q.DepthDB, q.Dip)
		switch {
		case q.Dip != nil:
			d.Why["depth_db"] = fmt.Sprintf("in this band only: %.1f dB less loud, where all frequencies would take %.1f for the same", q.LossDB, q.BroadDB)
		case math.IsNaN(q.AloneDB):
			d.Why["depth_db"] = "least annoying together with the others; alone it could not be enough"
		default:
			d.Why["depth_db"] = fmt.Sprintf("least annoying together with the others; alone it would take %.1f", q.AloneDB)
		}
		if q.DepthDB >= q.MostDB-0.05 {
			d.Why["depth_db"] += "; the most that is allowed"
		}
		r.Plan.Ducks = append(r.Plan.Ducks, d)
	}
}

// finish adds what moves, what clashes and what has to be said.
func (r *Result) finish(ctx context.Context, pkg *meet.Package, prepared []*meet.Prepared, most []float64, o Options) error {
	for _, t := range r.Trims {
		if t.HeldDB > 0 {
			r.Notes = append(r.Notes, fmt.Sprintf("%s stays %.1f dB under its target: its peaks leave no more.", t.Path, t.HeldDB))
		}
	}
	r.Clashes = clashes(pkg)
	for i := range r.Callouts {
		r.Callouts[i].Sentence = r.sentence(&r.Callouts[i])
	}
	var err error
	r.Shifts, err = shifts(ctx, pkg, prepared, r, most, o)
	return err
}

// hallBy returns the hall of a package, louder by db.
func hallBy(pkg *meet.Package, db float64) sii.Masker {
	h := pkg.Hall
	for k := range h {
		h[k] *= samples.DBPower(db)
	}
	return h
}
