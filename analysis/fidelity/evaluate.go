package fidelity

import (
	"errors"
	"fmt"
	"math"

	"tachbench/samples"
	"tachbench/samples/crank"
)

// Case is a render with all it is to be judged by.
type Case struct {
	Render  *samples.Sound
	Revs    Revs // what was asked for
	Layout  crank.Layout
	Sources []Recording // what the note was made from; at least one
	// HeldOut is a recording at the render's revs that the note was not made
	// from. Without it there is no colour; the other comparisons use the
	// nearest source.
	HeldOut *Recording
	Grains  []GrainUse // which grain sounded when; nil if not known
	// Shifted are renders of the same note at other revs (about ±10 %), for
	// the formants.
	Shifted []Shifted
}

// Shifted is a render at other revs.
type Shifted struct {
	Sound *samples.Sound
	Revs  Revs
}

// sameRevs is how far a source's revs may lie from a hold's to be compared.
const sameRevs = 0.03

// Evaluate measures a render and the two anchors made from its sources. It
// fails if the request is not finite and positive or no source has a crank
// phase; what else is missing is said in the report's Notes.
func Evaluate(c Case) (*Report, error) {
	e, err := prepare(c)
	if err != nil {
		return nil, err
	}
	e.anchors()
	e.rows()
	return e.r, nil
}

// prepare checks the case and finds what the render is compared with.
func prepare(c Case) (*evaluation, error) {
	if err := c.Layout.Validate(); err != nil {
		return nil, err
	}
	r := &Report{LengthS: c.Render.DurationS(), FromRPM: math.Inf(1), ToRPM: math.Inf(-1)}
	for i := range 1001 {
		at := r.LengthS * float64(i) / 1000
		v := c.Revs(at)
		if !(v > 0) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("requested revs at %.3f s are %g RPM, must be above 0", at, v)
		}
		r.FromRPM, r.ToRPM = math.Min(r.FromRPM, v), math.Max(r.ToRPM, v)
	}
	r.Steady = r.ToRPM/r.FromRPM <= 1.01
	e := &evaluation{c: c, r: r}
	for i, s := range c.Sources {
		t, err := FromRecording(s, c.Layout)
		if err != nil {
			e.note("source %d left out: %v", i+1, err)
			continue
		}
		e.sources = append(e.sources, t)
	}
	if len(e.sources) == 0 {
		return nil, errors.New("none of the sources has a crank phase to compare with")
	}
	e.clicks = NewClickReference(e.sources)
	e.findReference()
	e.take[theRender] = FromRender(c.Render, c.Revs, c.Layout)
	return e, nil
}

type evaluation struct {
	c       Case
	r       *Report
	sources []*Take
	clicks  *ClickReference
	ref     *Take // at the same steady revs; nil if there is none
	heldOut bool  // ref was not used for the note
	take    [3]*Take
}

// The three notes measured: the render and its anchors.
const (
	theRender = iota
	theLoop
	theResample
)

func (e *evaluation) note(format string, args ...any) {
	e.r.Notes = append(e.r.Notes, fmt.Sprintf(format, args...))
}

// findReference chooses what a hold is compared with.
func (e *evaluation) findReference() {
	if !e.r.Steady {
		e.note("revs move: colour, tremor, level step and half orders need a hold and are left out")
		return
	}
	rpm := (e.r.FromRPM + e.r.ToRPM) / 2
	if e.c.HeldOut != nil {
		t, err := FromRecordingNear(*e.c.HeldOut, e.c.Layout, rpm, sameRevs)
		if err == nil && t.DurationS() >= 1 {
			e.ref, e.heldOut = t, true
			return
		}
		e.note("the left-out recording has no second within 3 %% of %.0f RPM", rpm)
	}
	for _, s := range e.c.Sources {
		t, err := FromRecordingNear(s, e.c.Layout, rpm, sameRevs)
		if err == nil && t.DurationS() >= 1 && (e.ref == nil || t.DurationS() > e.ref.DurationS()) {
			e.ref = t
		}
	}
	if e.ref == nil {
		e.note("no recording has a second within 3 %% of %.0f RPM to compare with", rpm)
	}
	e.note("colour needs a left-out recording at the same revs")
}

// anchors makes the two poor notes.
func (e *evaluation) anchors() {
	add := func(i int, s *samples.Sound, err error) {
		if err != nil {
			e.note("no anchor: %v", err)
			return
		}
		e.take[i] = FromRender(s, e.c.Revs, e.c.Layout)
	}
	s, err := FrozenLoop(nearest(e.sources, e.c.Revs, e.r.LengthS), e.c.Revs, e.r.LengthS)
	add(theLoop, s, err)
	s, err = PlainResample(e.sources, e.c.Revs, e.r.LengthS)
	add(theResample, s, err)
}

// each measures the three notes and returns one figure of each.
func (e *evaluation) each(measure func(i int, t *Take) float64) (v [3]float64) {
	for i, t := range e.take {
		v[i] = math.NaN()
		if t != nil {
			v[i] = measure(i, t)
		}
	}
	return v
}

func (e *evaluation) add(row Row, v [3]float64) {
	row.Value, row.AnchorLoop, row.AnchorResample = v[theRender], v[theLoop], v[theResample]
	row.judge()
	e.r.Rows = append(e.r.Rows, row)
}
