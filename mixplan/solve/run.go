package solve

import (
	"cmp"
	"context"
	"fmt"

	"tachbench/mixplan"
	"tachbench/mixplan/headroom"
	"tachbench/mixplan/meet"
	"tachbench/samples/sheet"
)

// OverrunsPerHour is how often the sum may run over full scale unless told
// otherwise: once in ten minutes for a hundredth of a second is not noticed.
// Our judgement, no source.
const OverrunsPerHour = 6

// Job says what is to be planned.
type Job struct {
	Sheet   *sheet.Sheet
	Plan    *mixplan.Plan // to be checked; nil to have one made
	Target  float64       // 0 means sii.UnderstoodFrom
	Seed    uint64
	Workers int

	OverrunsPerHour float64 // 0 means OverrunsPerHour
	// Progress, if not nil, is told what is being done, and after how many of
	// all files while they are read.
	Progress func(doing string, done, all int)
}

// Report is everything there is to say about a plan.
type Report struct {
	*Result
	Sheet     *sheet.Sheet
	Package   *meet.Package
	Headroom  *headroom.Result
	Allowed   float64 // overruns an hour
	WithPlan  headroom.Overruns
	Proof     *Proof
	Hearing   Hearing
	SeedGiven uint64
}

// Run reads a package, finds or checks its plan, plays it for half an hour
// and proves it. The plan must fit the sheet.
func Run(ctx context.Context, j Job) (*Report, error) {
	say := func(doing string, done, all int) {
		if j.Progress != nil {
			j.Progress(doing, done, all)
		}
	}
	pkg, err := meet.Read(ctx, j.Sheet, meet.Options{Seed: j.Seed, Workers: j.Workers, Progress: func(done, all int) { say("reading", done, all) }})
	if err != nil {
		return nil, err
	}
	out := &Report{Sheet: j.Sheet, Package: pkg, Allowed: cmp.Or(j.OverrunsPerHour, OverrunsPerHour), SeedGiven: j.Seed}
	play := func(p *mixplan.Plan) (err error) {
		say("playing", 0, 0)
		out.Headroom, err = headroom.Simulate(ctx, j.Sheet, pkg.Engine, p, headroom.Options{Seed: j.Seed, Workers: j.Workers})
		return err
	}
	o := Options{Target: j.Target, Seed: j.Seed, Workers: j.Workers, BusGain: func(p *mixplan.Plan) (float64, string, error) {
		if err := play(p); err != nil {
			return 0, "", err
		}
		g := out.Headroom.BusGainDB(out.Allowed)
		say("solving", 0, 0)
		if g == 0 {
			return 0, fmt.Sprintf("dB; the sum stays under full scale as it is, but for %g times an hour at most", out.Allowed), nil
		}
		return g, fmt.Sprintf("dB; without it the sum would run over full scale some %.0f times an hour", out.Headroom.At(0).PerHour), nil
	}}
	say("solving", 0, 0)
	if j.Plan != nil {
		out.Result, err = Check(ctx, pkg, j.Sheet, j.Plan, o)
		if err == nil {
			err = play(j.Plan)
		}
	} else {
		out.Result, err = Solve(ctx, pkg, j.Sheet, o)
	}
	if err != nil {
		return nil, err
	}
	out.WithPlan = out.Headroom.At(out.Plan.BusGainDB)
	say("proving", 0, 0)
	if out.Proof, err = Prove(ctx, pkg, j.Sheet, out.Result, j.Seed); err != nil {
		return nil, err
	}
	out.Hearing = hearing(pkg, out.Headroom.Rates)
	return out, nil
}
