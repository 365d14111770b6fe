package fidelity

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"tachbench/samples"
	"tachbench/samples/crank"
)

// Revs gives the requested revs in RPM at a time in seconds. It must be
// finite and positive over the whole render.
type Revs func(timeS float64) float64

// Hold asks for the same revs all the time.
func Hold(rpm float64) Revs { return func(float64) float64 { return rpm } }

// Sweep asks for revs that move linearly from one value to another in
// lengthS seconds and stay there.
func Sweep(fromRPM, toRPM, lengthS float64) Revs {
	return func(t float64) float64 {
		u := t / lengthS
		return fromRPM + (toRPM-fromRPM)*math.Max(0, math.Min(1, u))
	}
}

// Curve asks for revs that move linearly between points. timeS must ascend;
// before the first and after the last point the end value holds. It panics
// if the slices are empty or differ in length.
func Curve(timeS, rpm []float64) Revs {
	if len(timeS) != len(rpm) || len(rpm) == 0 {
		panic(fmt.Sprintf("fidelity: Curve with %d times and %d revs", len(timeS), len(rpm)))
	}
	return func(t float64) float64 {
		i := sort.SearchFloat64s(timeS, t)
		if i == 0 {
			return rpm[0]
		}
		if i == len(rpm) {
			return rpm[i-1]
		}
		u := (t - timeS[i-1]) / (timeS[i] - timeS[i-1])
		return rpm[i-1] + u*(rpm[i]-rpm[i-1])
	}
}

// Recording is a source with its track of revs and crank phase.
type Recording struct {
	Sound *samples.Sound
	Track *crank.Track
}

// Take is mono sound with the crank phase at every sample.
type Take struct {
	X      []float64
	RateHz int
	Phase  []float64 // engine cycles at each sample, rising; as long as X
	Layout crank.Layout
}

// FromRender makes a Take of a rendered note. The phase is the exact
// integral of the requested cycle rate (Simpson's rule over each sample, so
// exact for revs that are up to cubic in time there). Stereo is averaged.
func FromRender(s *samples.Sound, revs Revs, l crank.Layout) *Take {
	t := &Take{X: s.Mono(), RateHz: s.RateHz, Layout: l, Phase: make([]float64, s.Frames())}
	h := 1 / float64(s.RateHz)
	a := l.CycleHz(revs(0))
	for i := 1; i < len(t.Phase); i++ {
		t0 := float64(i-1) * h
		m, b := l.CycleHz(revs(t0+h/2)), l.CycleHz(revs(float64(i)*h))
		t.Phase[i] = t.Phase[i-1] + h/6*(a+4*m+b)
		a = b
	}
	return t
}

// FromRecording makes a Take of the longest stretch of a recording in which
// the track tells the phase. It fails if there is none.
func FromRecording(r Recording, l crank.Layout) (*Take, error) {
	return stretch(r, l, func(float64) bool { return true })
}

// FromRecordingNear is FromRecording limited to the longest stretch whose
// revs lie within rpm·(1±tolerance).
func FromRecordingNear(r Recording, l crank.Layout, rpm, tolerance float64) (*Take, error) {
	return stretch(r, l, func(v float64) bool { return math.Abs(v/rpm-1) <= tolerance })
}

func stretch(r Recording, l crank.Layout, ok func(rpm float64) bool) (*Take, error) {
	tr := r.Track
	if tr == nil || r.Sound == nil || tr.HopS <= 0 {
		return nil, errors.New("a recording needs sound and a track")
	}
	from, to := 0, 0
	for i := 0; i < tr.Len(); {
		j := i
		for j < tr.Len() && !math.IsNaN(tr.Phase[j]) && ok(tr.RPM[j]) && (j == i || tr.Phase[j] > tr.Phase[j-1]) {
			j++
		}
		if j-i > to-from {
			from, to = i, j
		}
		i = max(j, i+1)
	}
	if to-from < 2 {
		return nil, errors.New("the track has no stretch with crank phase in the wanted revs")
	}
	rate := float64(r.Sound.RateHz)
	first := max(0, int(math.Ceil(tr.TimeS(from)*rate)))
	last := min(r.Sound.Frames()-1, int(math.Floor(tr.TimeS(to-1)*rate)))
	if last-first < 1 {
		return nil, errors.New("the track's stretch lies outside the sound")
	}
	t := &Take{X: r.Sound.Mono()[first : last+1], RateHz: r.Sound.RateHz, Layout: l}
	t.Phase = make([]float64, len(t.X))
	for i := range t.Phase {
		u := (float64(first+i)/rate - tr.StartS) / tr.HopS
		j := min(max(int(u), from), to-2)
		t.Phase[i] = tr.Phase[j] + (u-float64(j))*(tr.Phase[j+1]-tr.Phase[j])
	}
	return t, nil
}

// DurationS returns the length in seconds.
func (t *Take) DurationS() float64 { return float64(len(t.X)) / float64(t.RateHz) }

// CycleHz returns the mean engine cycle rate over the take, NaN if it is too
// short to tell.
func (t *Take) CycleHz() float64 {
	n := len(t.Phase)
	if n < 2 {
		return math.NaN()
	}
	return (t.Phase[n-1] - t.Phase[0]) * float64(t.RateHz) / float64(n-1)
}

// RPM returns the mean revs over the take.
func (t *Take) RPM() float64 { return t.Layout.RPM(t.CycleHz()) }

// part returns samples from..to of the take, sharing memory.
func (t *Take) part(from, to int) *Take {
	c := *t
	c.X, c.Phase = t.X[from:to], t.Phase[from:to]
	return &c
}

// usable says whether the take has a rising, finite phase of at least n
// cycles.
func (t *Take) usable(cycles float64) bool {
	if t == nil || len(t.X) < 2 || len(t.X) != len(t.Phase) {
		return false
	}
	span := t.Phase[len(t.Phase)-1] - t.Phase[0]
	return span >= cycles && !math.IsInf(span, 0) // NaN compares false
}
