package solve

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"tachbench/mixplan"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/sheet"
	"tachbench/synth/curve"
)

// Around the callout of a meeting that is to be heard, and how what is already
// going on at its start comes in.
const (
	meetingLeadS   = 1.0
	meetingTailS   = 1.0
	meetingFadeInS = 0.010
)

// met keeps what a cell of the map was made from, and what is only known
// before the package is trimmed.
type met struct {
	seed           uint64
	plain, planned [][]float64 // index by callout and meeting
	weakPlain      []float64   // by callout, see Outcome
}

// middles returns, for each step, the meeting that stands for it: by the index
// without plan the middle one of those at the step, the lower of two. An
// average of two would be the index of no meeting, and they may lie far apart:
// one with a loud effect, one without.
func middles(plain []float64, steps int) []int {
	out := make([]int, steps)
	for s := range out {
		var here []int
		for i := s; i < len(plain); i += steps {
			here = append(here, i)
		}
		slices.SortStableFunc(here, func(i, j int) int { return cmp.Compare(plain[i], plain[j]) })
		out[s] = here[(len(here)-1)/2]
	}
	return out
}

// cell returns which meeting of a callout stands for a step.
func (r *Result) cell(pkg *meet.Package, callout, step int) (int, error) {
	steps := pkg.Steps()
	switch {
	case callout < 0 || callout >= len(r.met.plain) || callout >= len(pkg.Callouts):
		return 0, fmt.Errorf("callout %d: there are %d, counted from 0", callout, len(r.met.plain))
	case steps == 0:
		return 0, fmt.Errorf("step %d: there is no engine, so there are no steps", step)
	case step < 0 || step >= steps:
		return 0, fmt.Errorf("step %d: the engine has %d, counted from 0", step, steps)
	}
	best := middles(r.met.plain[callout], steps)[step]
	if math.IsNaN(r.met.plain[callout][best]) {
		return 0, fmt.Errorf("%s: there is no speech in it, so it has no meetings", pkg.Callouts[callout].Path)
	}
	return best, nil
}

// MeetingTimeline lays out, as a scene, the meeting behind a cell of the map of
// callouts and revs: of the meetings of the callout at the step of the engine
// (both counted from 0, as in [Outcome.StepsPlain]) the one whose index, without
// and with the plan, the cell shows. A second before and after the callout is
// heard; beds go round from the place that the meeting drew, what is shorter
// starts where it was drawn, and the engine is held at the step's revs.
// pkg, sh and r belong together as Solve or Check left them; lib reads the
// sheet's files. An error says which of the two numbers is wrong, or that the
// callout has no speech.
func (r *Result) MeetingTimeline(pkg *meet.Package, sh *sheet.Sheet, lib *scene.Library, callout, step int) (*scene.Timeline, error) {
	i, err := r.cell(pkg, callout, step)
	if err != nil {
		return nil, err
	}
	spoken := pkg.Callouts[callout]
	with := r.meetings(pkg, callout)[i].With
	rpm := pkg.StepsRPM()[step]
	paths := map[string]*sheet.Path{}
	for _, c := range sh.Categories {
		for _, f := range c.Files {
			paths[f.Rel] = &f.Path
		}
	}
	sc := sheet.Scene{Key: "meeting", Name: fmt.Sprintf("%s at %.0f RPM", spoken.Path, rpm), LengthS: meetingLeadS + spoken.DurationS + meetingTailS}
	sc.Cues = append(sc.Cues, sheet.Cue{Key: "meeting.callout", AtS: meetingLeadS, Sound: paths[spoken.Path]})
	key := func(w meet.Present) string { return "meeting." + pkg.Buses[w.Bus].Category }
	for _, w := range with {
		if s := pkg.Buses[w.Bus].Sounds[w.Sound]; s.RPM == 0 {
			// As a loop, so that it lasts; enter puts it where it belongs.
			sc.Cues = append(sc.Cues, sheet.Cue{Key: key(w), Sound: paths[s.Path], Loop: true})
		}
	}
	own := *sh
	own.Scenes = []sheet.Scene{sc}
	t, err := scene.Build(&own, lib, sc.Name)
	if err != nil {
		return nil, err
	}
	lead := int64(math.Round(meetingLeadS * float64(t.RateHz)))
	var events []scene.Event
	for _, e := range t.Events {
		keep := true
		for _, w := range with {
			if s := pkg.Buses[w.Bus].Sounds[w.Sound]; e.Key == key(w) {
				keep = enter(&e, s, int64(w.At)*int64(meet.StepFrames(t.RateHz))-lead, t)
			}
		}
		if keep {
			events = append(events, e)
		}
	}
	hold, err := curve.Hold(rpm, 1, float64(t.Frames)/float64(t.RateHz))
	if err != nil {
		return nil, err
	}
	t.Events = append(events, scene.Event{Key: "meeting.engine", Category: mixplan.Engine, Path: fmt.Sprintf("held at %.0f RPM", rpm), End: t.Frames, Curve: hold, Active: always(t)})
	return t, nil
}

// always is a span over all of a scene.
func always(t *scene.Timeline) []scene.Span {
	return []scene.Span{{FromS: 0, ToS: float64(t.Frames) / float64(t.RateHz)}}
}

// enter lets an event be at frame at of its sound, at the machine's rate, when
// the scene begins; a sound that has not begun by then has a negative one. It
// reports whether anything of the event is left.
func enter(e *scene.Event, s *meet.Sound, at int64, t *scene.Timeline) bool {
	c := *e.Clip
	own := func(frames int64) int {
		return int(math.Round(float64(frames) * float64(c.Sound.RateHz) / float64(t.RateHz)))
	}
	fade := min(c.Sound.Frames(), own(int64(meetingFadeInS*float64(t.RateHz))))
	if s.Bed() {
		// The file goes round from there. What is faded in at the start is
		// heard once and lies before the loop.
		n := c.Sound.Frames()
		from := ((own(at) % n) + n) % n
		turned := samples.NewSound(c.Sound.RateHz, c.Sound.Channels(), n+fade)
		for ch, x := range c.Sound.Chans {
			for i := range turned.Chans[ch] {
				turned.Chans[ch][i] = x[(from+i)%n]
			}
		}
		c.Sound, c.Loop = turned, samples.Loop{Start: int64(fade), End: int64(fade + n)}
		fadeIn(c.Sound, fade)
		e.Clip = &c
		if len(e.Active) > 0 {
			e.Active = always(t)
		}
		return true
	}
	length := int64(math.Round(c.Sound.DurationS() * float64(t.RateHz)))
	e.Loop, e.At, e.End = false, max(0, -at), min(t.Frames, length-at)
	if e.End <= e.At {
		return false
	}
	atS, endS := -float64(at)/float64(t.RateHz), float64(e.End)/float64(t.RateHz)
	e.Active = nil
	for _, a := range c.Active {
		if a = (scene.Span{FromS: max(0, atS+a.FromS), ToS: min(endS, atS+a.ToS)}); a.ToS > a.FromS {
			e.Active = append(e.Active, a)
		}
	}
	if at > 0 {
		c.Sound = after(c.Sound, own(at))
		c.Loop = samples.Loop{End: int64(c.Sound.Frames())}
		fadeIn(c.Sound, min(fade, c.Sound.Frames()))
		e.Clip = &c
	}
	return true
}

// after returns a copy of what follows a frame; the last frame is always left.
func after(s *samples.Sound, from int) *samples.Sound {
	from = min(from, s.Frames()-1)
	out := samples.NewSound(s.RateHz, s.Channels(), s.Frames()-from)
	for c := range out.Chans {
		copy(out.Chans[c], s.Chans[c][from:])
	}
	return out
}

// fadeIn raises the first n frames from silence along half a cosine.
func fadeIn(s *samples.Sound, n int) {
	for _, x := range s.Chans {
		for i := range n {
			x[i] *= 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(n))
		}
	}
}
