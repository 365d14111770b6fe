package solve

import (
	"context"
	"math"

	"tachbench/mixplan/meet"
)

// Shift is how the answer moves when something was guessed wrong.
type Shift struct {
	What       string
	HallDB     float64 // the hall is louder by
	CalloutDB  float64 // callouts are louder by
	Understood int     // callouts that reach the target with the plan as it is
	Lowest     float64 // figure of the worst callout with speech; NaN without
	// Depths a plan made for this case would have, all frequencies, in the
	// order of the pairs; nil if the plan was not made here. Enough says
	// whether they save every callout.
	Depths []float64
	Enough bool
}

// shiftFinestDB is how finely the plans for other cases are found: they are
// there to show how far the depths move.
const shiftFinestDB = 2

// shifts tries the plan in other halls and with other callouts.
func shifts(ctx context.Context, pkg *meet.Package, prepared []*meet.Prepared, r *Result, most []float64, o Options) ([]Shift, error) {
	cases := []Shift{
		{What: "as given"},
		{What: "hall 5 dB quieter", HallDB: -5},
		{What: "hall 5 dB louder", HallDB: 5},
		{What: "callouts 2 dB softer", CalloutDB: -2},
		{What: "callouts 2 dB louder", CalloutDB: 2},
	}
	parallel(len(cases), o.Workers, func(i int) {
		if ctx.Err() == nil {
			cases[i].try(pkg, prepared, r, most)
		}
	})
	return cases, ctx.Err()
}

// try fills in one case, on one core.
func (c *Shift) try(pkg *meet.Package, prepared []*meet.Prepared, r *Result, most []float64) {
	p := newProblem(pkg, hallBy(pkg, c.HallDB), louder(pkg, prepared, c.CalloutDB), r.Target+aimSlack, 1)
	p.raisedDB = c.CalloutDB
	c.Lowest = math.NaN()
	for _, v := range r.figures(p) {
		if v >= r.Target {
			c.Understood++
		}
		if !math.IsNaN(v) && !(v >= c.Lowest) {
			c.Lowest = v
		}
	}
	if most == nil {
		return
	}
	c.Enough = p.enough(most)
	if c.HallDB == 0 && c.CalloutDB == 0 {
		for _, q := range r.Pairs {
			c.Depths = append(c.Depths, q.BroadDB)
		}
		return
	}
	p.lowerAims(most)
	depth, _ := searchTo(shiftFinestDB, p.knobs(most), p.enough)
	for b, d := range depth {
		c.Depths = append(c.Depths, min(up(d, 0.1), most[b]))
	}
}
