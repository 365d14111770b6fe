// Package crank holds the geometry that ties sound to a turning crankshaft:
// the cylinder layout, the conversions between revolutions per minute and
// hertz, and the track of revs and crank phase along a recording.
//
// Two rates must never be mixed up: the revolution rate N/60 and the engine
// cycle rate, N/60 for a two-stroke and N/120 for a four-stroke. Phase in
// this project is counted in engine cycles; orders are counted per
// revolution, as the trade does.
package crank

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
)

// Layout says how an engine fires.
type Layout struct {
	Cylinders int       // 1..16
	Strokes   int       // strokes per engine cycle: 2 or 4
	Firing    []float64 // crank degrees in one engine cycle, ascending, one per cylinder; nil = even
}

// Validate returns nil for a layout that can be used.
func (l Layout) Validate() error {
	if l.Strokes != 2 && l.Strokes != 4 {
		return fmt.Errorf("strokes must be 2 or 4, not %d", l.Strokes)
	}
	if l.Cylinders < 1 || l.Cylinders > 16 {
		return fmt.Errorf("cylinders must be 1 to 16, not %d", l.Cylinders)
	}
	if l.Firing == nil {
		return nil
	}
	if len(l.Firing) != l.Cylinders {
		return fmt.Errorf("%d firing angles for %d cylinders", len(l.Firing), l.Cylinders)
	}
	for i, a := range l.Firing {
		if math.IsNaN(a) || a < 0 || a >= l.CycleDegrees() {
			return fmt.Errorf("firing angle %g is outside 0..%g degrees", a, l.CycleDegrees())
		}
		if i > 0 && a < l.Firing[i-1] {
			return errors.New("firing angles must ascend")
		}
	}
	return nil
}

// CycleDegrees returns the crank angle of one engine cycle, 360 or 720.
func (l Layout) CycleDegrees() float64 { return 180 * float64(l.Strokes) }

// RevsPerCycle returns 1 for a two-stroke and 2 for a four-stroke.
func (l Layout) RevsPerCycle() float64 { return float64(l.Strokes) / 2 }

// CycleHz returns the engine cycle rate at rpm: N/60 or N/120.
func (l Layout) CycleHz(rpm float64) float64 { return rpm / 60 / l.RevsPerCycle() }

// RPM returns the revs at which the engine cycle rate is hz.
func (l Layout) RPM(cycleHz float64) float64 { return cycleHz * 60 * l.RevsPerCycle() }

// FiringHz returns the mean firing rate, (N/60)·C/(S/2).
func (l Layout) FiringHz(rpm float64) float64 { return l.CycleHz(rpm) * float64(l.Cylinders) }

// OrderHz returns the frequency of an order (multiples of the revolution
// rate): o·N/60.
func OrderHz(order, rpm float64) float64 { return order * rpm / 60 }

// FiringOrder returns the order of the mean firing rate, C/(S/2).
func (l Layout) FiringOrder() float64 { return float64(l.Cylinders) / l.RevsPerCycle() }

// Angles returns the firing angles in degrees, even ones if none were given.
func (l Layout) Angles() []float64 {
	if l.Firing != nil {
		return append([]float64(nil), l.Firing...)
	}
	a := make([]float64, l.Cylinders)
	for i := range a {
		a[i] = l.CycleDegrees() * float64(i) / float64(l.Cylinders)
	}
	return a
}

// OrderAmplitude returns |Σ exp(-j·o·θ)|/n, the share of an order that equal
// pulses at the firing angles leave at the source: 0 (cancelled) .. 1. Only
// multiples of 1/RevsPerCycle occur in a steadily running engine.
func (l Layout) OrderAmplitude(order float64) float64 {
	var sum complex128
	for _, deg := range l.Angles() {
		sum += cmplx.Exp(complex(0, -order*deg*math.Pi/180))
	}
	return cmplx.Abs(sum) / float64(l.Cylinders)
}

// Track is revs and crank phase along a recording on a regular time grid.
// All slices have the same length.
type Track struct {
	StartS     float64   // time of the first point, seconds
	HopS       float64   // seconds between points, > 0
	RPM        []float64 // NaN where no engine could be told
	Confidence []float64 // 0..1
	// Phase counts engine cycles from an arbitrary start. It rises through
	// every stretch with revs and is NaN where RPM is NaN. Its fractional
	// part marks the same place in the engine cycle all through one stretch.
	Phase []float64
}

// Len returns the number of points.
func (t *Track) Len() int { return len(t.RPM) }

// TimeS returns the time of point i in seconds.
func (t *Track) TimeS(i int) float64 { return t.StartS + float64(i)*t.HopS }
