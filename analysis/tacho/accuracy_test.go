package tacho_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"tachbench/analysis/tacho"
	"tachbench/samples/crank"
	"tachbench/samples/tone"
)

type engine struct {
	name      string
	layout    crank.Layout
	idle, red float64
}

// Ranges are common practice for each kind of machine, no source.
var engines = []engine{
	{"single", crank.Layout{Cylinders: 1, Strokes: 4}, 1400, 7500},
	{"even twin", crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 360}}, 1200, 8000},
	{"V-twin 315-405", crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 315}}, 900, 5500},
	{"triple", crank.Layout{Cylinders: 3, Strokes: 4}, 1100, 9500},
	{"inline four", crank.Layout{Cylinders: 4, Strokes: 4}, 1200, 12000},
	{"two-stroke twin", crank.Layout{Cylinders: 2, Strokes: 2, Firing: []float64{0, 180}}, 1600, 8200},
}

// errors of a track against the truth.
type errs struct {
	median, p95, worst float64 // relative RPM error
	slips              int     // confident points off by more than 8 %
	phaseRMS           float64 // cycles, after removing the mean
	phaseSpan          float64 // cycles, largest less smallest offset
	found              float64 // share of points with revs
	backwards          int     // points where the phase does not rise
}

func compare(got, truth *crank.Track) errs {
	var rel, off []float64
	var e errs
	prev := math.Inf(-1)
	for i, r := range got.RPM {
		if math.IsNaN(r) {
			prev = math.Inf(-1)
			continue
		}
		k := min(int(math.Round(got.TimeS(i)/truth.HopS)), truth.Len()-1)
		d := math.Abs(r/truth.RPM[k] - 1)
		rel = append(rel, d)
		if d > 0.08 {
			e.slips++
		}
		off = append(off, got.Phase[i]-truth.Phase[k])
		if got.Phase[i] <= prev {
			e.backwards++
		}
		prev = got.Phase[i]
	}
	e.found = float64(len(rel)) / float64(got.Len())
	if len(rel) == 0 {
		return e
	}
	slices.Sort(rel)
	e.median, e.p95, e.worst = rel[len(rel)/2], rel[len(rel)*95/100], rel[len(rel)-1]
	var mean float64
	for _, v := range off {
		mean += v / float64(len(off))
	}
	for _, v := range off {
		e.phaseRMS += (v - mean) * (v - mean) / float64(len(off))
	}
	e.phaseRMS = math.Sqrt(e.phaseRMS)
	e.phaseSpan = slices.Max(off) - slices.Min(off)
	return e
}

func (e errs) String() string {
	return fmt.Sprintf("median %.4f%% p95 %.3f%% worst %.2f%% slips %d phase RMS %.4f span %.3f found %.1f%%",
		100*e.median, 100*e.p95, 100*e.worst, e.slips, e.phaseRMS, e.phaseSpan, 100*e.found)
}

func run(t *testing.T, spec tone.EngineSpec, opt tacho.Options) errs {
	t.Helper()
	s, truth := tone.Engine(spec)
	got, err := tacho.Track(s, spec.Layout, opt)
	if err != nil {
		t.Errorf("%v", err)
		return errs{median: 1, p95: 1}
	}
	e := compare(got, truth)
	if e.slips > 0 || e.backwards > 0 {
		t.Errorf("%d octave slips, %d backward phase steps", e.slips, e.backwards)
	}
	return e
}

// Targets: the project's own (holds median 0.15 %, pulls p95 1 %).
func TestHolds(t *testing.T) {
	if testing.Short() {
		t.Skip("long; the shorter tests go the same ways")
	}
	for _, en := range engines {
		for step, x := range []float64{0, 0.35, 0.7, 0.97} {
			rpm := en.idle * math.Pow(en.red/en.idle, x)
			t.Run(fmt.Sprintf("%s/%.0f", en.name, rpm), func(t *testing.T) {
				e := run(t, tone.EngineSpec{Layout: en.layout, RPM: tone.Hold(rpm), DurationS: 2, SNRDB: 20, Seed: uint64(step) + 5}, tacho.Options{})
				t.Log(e)
				if e.median > 0.0015 || e.phaseRMS > 0.01 || e.found < 0.95 {
					t.Errorf("hold out of limits")
				}
			})
		}
	}
}

func TestPulls(t *testing.T) {
	if testing.Short() {
		t.Skip("long; the shorter tests go the same ways")
	}
	for _, en := range engines {
		for _, dur := range []float64{8, 15} {
			for _, down := range []bool{false, true} {
				t.Run(fmt.Sprintf("%s/%.0fs/down=%v", en.name, dur, down), func(t *testing.T) {
					rpm := tone.Pull(en.idle, en.red, dur)
					if down {
						// Coast-downs are concave: fast first, then slower.
						rpm = func(t float64) float64 { return en.idle + (en.red-en.idle)*math.Exp(-3.5*t/dur) }
					}
					e := run(t, tone.EngineSpec{Layout: en.layout, RPM: rpm, DurationS: dur, RateHz: 24000, SNRDB: 20, Seed: 9}, tacho.Options{})
					t.Log(e)
					if e.p95 > 0.01 || e.found < 0.9 {
						t.Errorf("pull out of limits")
					}
				})
			}
		}
	}
}
