// Package curve holds the revs that a note is asked to follow: a hold, a
// sweep, or rows of time, RPM and load from a CSV file.
package curve

import (
	"fmt"
	"math"
	"sort"
)

// LimitRPM is the highest engine speed accepted anywhere, a bound against
// slips of the pen: no piston engine of the trade passes it (common practice,
// no source).
const LimitRPM = 30000

// Point is one row of a curve.
type Point struct {
	TimeS float64 // seconds from the start, >= 0
	RPM   float64 // > 0 .. LimitRPM
	Load  float64 // 0 overrun .. 1 full load
}

// Curve is revs and load over time, straight lines between points. The value
// before the first and after the last point is that point's own.
type Curve struct {
	points []Point
	hint   int // last segment used, so that playing forward costs nothing
}

// New returns a curve through points. Times must not go backwards; two
// points at the same time make a step.
func New(points []Point) (*Curve, error) {
	if len(points) == 0 {
		return nil, fmt.Errorf("a curve needs at least one row of time_s,rpm")
	}
	for i, p := range points {
		if err := check(p); err != nil {
			return nil, fmt.Errorf("row %d: %w", i+1, err)
		}
		if i > 0 && p.TimeS < points[i-1].TimeS {
			return nil, fmt.Errorf("row %d: time goes backwards, %g s after %g s", i+1, p.TimeS, points[i-1].TimeS)
		}
	}
	return &Curve{points: append([]Point(nil), points...)}, nil
}

// check tests the ranges of one row.
func check(p Point) error {
	switch {
	case math.IsNaN(p.TimeS) || math.IsInf(p.TimeS, 0) || p.TimeS < 0:
		return fmt.Errorf("time_s must be a number from 0 up, not %g", p.TimeS)
	case math.IsNaN(p.RPM) || p.RPM <= 0 || p.RPM > LimitRPM:
		return fmt.Errorf("rpm must be above 0 and at most %d, not %g", LimitRPM, p.RPM)
	case math.IsNaN(p.Load) || p.Load < 0 || p.Load > 1:
		return fmt.Errorf("load must be 0 (overrun) to 1 (full load), not %g", p.Load)
	}
	return nil
}

// Hold returns a curve that stays at rpm for seconds.
func Hold(rpm, load, seconds float64) (*Curve, error) {
	return span(rpm, rpm, load, seconds)
}

// Sweep returns a curve from one RPM to another, linear in RPM.
func Sweep(from, to, load, seconds float64) (*Curve, error) {
	return span(from, to, load, seconds)
}

func span(from, to, load, seconds float64) (*Curve, error) {
	if math.IsNaN(seconds) || seconds <= 0 || seconds > 24*3600 {
		return nil, fmt.Errorf("the length must be above 0 and at most 86400 s, not %g", seconds)
	}
	a, b := Point{0, from, load}, Point{seconds, to, load}
	for _, p := range []Point{a, b} {
		if err := check(p); err != nil {
			return nil, err
		}
	}
	return &Curve{points: []Point{a, b}}, nil
}

// DurationS returns the time of the last point.
func (c *Curve) DurationS() float64 { return c.points[len(c.points)-1].TimeS }

// Points returns a copy of the rows.
func (c *Curve) Points() []Point { return append([]Point(nil), c.points...) }

// RangeRPM returns the lowest and highest RPM on the curve.
func (c *Curve) RangeRPM() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range c.points {
		lo, hi = math.Min(lo, p.RPM), math.Max(hi, p.RPM)
	}
	return lo, hi
}

// At returns RPM and load at tS seconds. It must not be called from two
// goroutines at once.
func (c *Curve) At(tS float64) (rpm, load float64) {
	p := c.points
	if n := len(p) - 1; tS >= p[n].TimeS {
		return p[n].RPM, p[n].Load
	}
	if tS <= p[0].TimeS {
		return p[0].RPM, p[0].Load
	}
	i := c.hint
	if !(p[i].TimeS <= tS && tS < p[i+1].TimeS) {
		if i+2 < len(p) && p[i+1].TimeS <= tS && tS < p[i+2].TimeS {
			i++
		} else {
			i = sort.Search(len(p), func(k int) bool { return p[k].TimeS > tS }) - 1
		}
		c.hint = i
	}
	a, b := p[i], p[i+1]
	x := (tS - a.TimeS) / (b.TimeS - a.TimeS)
	return a.RPM + x*(b.RPM-a.RPM), a.Load + x*(b.Load-a.Load)
}
