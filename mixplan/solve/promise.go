package solve

import (
	"fmt"
	"math"
	"slices"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/duck"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/sheet"
	"tachbench/synth/curve"
)

// promised is what a category sends to the ear in each of n frames of a
// callout's event, from the files alone: their frames, the plan's trims and
// the ducking law. The engine follows a curve that no file holds; its plain
// render stands for it, as plain.
func promised(pkg *meet.Package, t *scene.Timeline, plan *mixplan.Plan, e scene.Event, n int, category string, plain []sii.Masker, taken *losses) []sii.Masker {
	at := make([]float64, n)
	for i := range at {
		at[i] = float64(e.At)/float64(t.RateHz) + (float64(i)+0.5)*pkg.StepS
	}
	course := sceneDepths(t, plan, category, at)
	out := make([]sii.Masker, n)
	known := false
	for _, b := range pkg.Buses {
		if known = b.Category == category && b.Sounds[0].RPM == 0; known {
			for _, o := range t.Events {
				if k := slices.IndexFunc(b.Sounds, func(s *meet.Sound) bool { return s.Path == o.Path }); o.Category == category && k >= 0 {
					follow(out, b.Sounds[k], pkg, t, e, o, course, taken)
				}
			}
			break
		}
	}
	if !known {
		g := samples.DBPower(plan.TrimDB(category, "") + plan.BusGainDB)
		for i := range min(n, len(plain)) {
			for k, p := range plain[i] {
				out[i][k] = g * p
			}
		}
	}
	for i := range out {
		// What is not a file is taken to fill its bands evenly.
		gain := course.gain(t.RateHz, i)
		if known {
			gain = maskerGains(gainsDB(t.RateHz, nil, 0, course.broadDB[i]))
		}
		for k, g := range gain {
			out[i][k] *= g
		}
	}
	return out
}

// promisedSpeech is the spectrum of a callout in a scene. It is that of its
// file unless the plan lets callouts yield to something that sounds there.
func promisedSpeech(pkg *meet.Package, t *scene.Timeline, plan *mixplan.Plan, e scene.Event, callout *meet.Sound) sii.Levels {
	if len(plan.Yielding(meet.Callout)) == 0 {
		return callout.Speech
	}
	at := make([]float64, len(callout.Power))
	for i := range at {
		at[i] = float64(e.At)/float64(t.RateHz) + (float64(i)+0.5)*pkg.StepS
	}
	return yielding(callout, t.RateHz, sceneDepths(t, plan, meet.Callout, at))
}

// follow adds the frames of another event's sound to those of a callout's
// event e, between two frames of the sound in a straight line, with what the
// dips of the course take out of this very sound.
func follow(out []sii.Masker, s *meet.Sound, pkg *meet.Package, t *scene.Timeline, e, o scene.Event, course depths, taken *losses) {
	rate := float64(t.RateHz)
	ratio := 1 / float64(o.Clip.Sound.RateHz)
	from, to := float64(o.Clip.Loop.Start)*ratio, float64(o.Clip.Loop.End)*ratio
	lost := make([][]ear.Levels, len(course.dips))
	for d := range lost {
		lost[d] = taken.of(o, t.RateHz, course.dips[d], course.deepest[d])
	}
	for i := range out {
		now := float64(e.At)/rate + (float64(i)+0.5)*pkg.StepS
		if now >= float64(o.End)/rate {
			return
		}
		tS := now - float64(o.At)/rate
		if o.Loop && tS >= to && to > from {
			tS = from + math.Mod(tS-from, to-from)
		}
		x := tS/pkg.StepS - 0.5
		f := int(math.Floor(x))
		for j, w := range [2]float64{1 - (x - float64(f)), x - float64(f)} {
			if f+j < 0 || f+j >= len(s.Power) {
				continue
			}
			now := s.Power[f+j]
			for d := range course.dips {
				left := leftOf(course.dipDB[d][i], course.deepest[d])
				for k, g := range lost[d][f+j] {
					if k < len(now) {
						full := samples.DBPower(g)
						now[k] *= full + (1-full)*left
					}
				}
			}
			for k, p := range now {
				out[i][k] += w * p
			}
		}
	}
}

// depths is the ducking law at given seconds: how deep a category is ducked
// as a whole and in each band, in dB.
type depths struct {
	broadDB []float64
	dips    []mixplan.Dip
	deepest []float64   // of each dip's rules
	dipDB   [][]float64 // dipDB[dip][second]
}

// sceneDepths follows the law through a scene at the given seconds, which
// ascend.
func sceneDepths(t *scene.Timeline, plan *mixplan.Plan, category string, atS []float64) depths {
	ducks := plan.Yielding(category)
	c := duck.New(t.RateHz, category, ducks)
	for _, e := range t.Events {
		for _, a := range e.Active {
			c.Speak(e.Category, a.FromS, a.ToS)
		}
	}
	out := depths{broadDB: make([]float64, len(atS)), dips: c.Bands()}
	for _, b := range out.dips {
		deepest := 0.0
		for _, d := range ducks {
			if d.Dip != nil && *d.Dip == b {
				deepest = max(deepest, d.DepthDB)
			}
		}
		out.deepest = append(out.deepest, deepest)
		out.dipDB = append(out.dipDB, make([]float64, len(atS)))
	}
	const chunk = 4096
	room := make([][]float64, 1+len(out.dips))
	for i := range room {
		room[i] = make([]float64, chunk)
	}
	start := int64(-chunk)
	for i, s := range atS {
		n := int64(s * float64(t.RateHz))
		for n >= start+chunk {
			c.Next(room[0], room[1:]...)
			start += chunk
		}
		out.broadDB[i] = room[0][n-start]
		for j := range out.dips {
			out.dipDB[j][i] = room[1+j][n-start]
		}
	}
	return out
}

// The made-up scene: callouts one after the other, with this much between
// them, and no more than paradeMost of them.
const (
	paradeGapS = 1.2
	paradeMost = 24
	paradeName = "every callout"
)

// parade is the scene in which every callout meets a bed, an effect and the
// engine going up and down; a large package is sampled evenly.
func parade(pkg *meet.Package, sh *sheet.Sheet, lib *scene.Library) (*scene.Timeline, error) {
	paths := map[string]*sheet.Path{}
	for _, c := range sh.Categories {
		for _, f := range c.Files {
			paths[f.Rel] = &f.Path
		}
	}
	sc := sheet.Scene{Key: "scene", Name: paradeName}
	cue := func(atS float64, s *meet.Sound, loop bool) {
		sc.Cues = append(sc.Cues, sheet.Cue{Key: fmt.Sprintf("scene.cue[%d]", len(sc.Cues)+1), AtS: atS, Sound: paths[s.Path], Loop: loop})
	}
	at := 1.0
	step := max(1, (len(pkg.Callouts)+paradeMost-1)/paradeMost)
	events := 0
	for i := 0; i < len(pkg.Callouts); i += step {
		cue(at, pkg.Callouts[i], false)
		for _, b := range pkg.Buses {
			short := slices.DeleteFunc(slices.Clone(b.Sounds), (*meet.Sound).Bed)
			if len(short) > 0 {
				cue(at+0.1, short[events%len(short)], false)
			}
		}
		events++
		at += pkg.Callouts[i].DurationS + paradeGapS
	}
	for _, b := range pkg.Buses {
		if k := slices.IndexFunc(b.Sounds, func(s *meet.Sound) bool { return s.RPM == 0 && s.Bed() }); k >= 0 {
			cue(0, b.Sounds[k], true)
		}
	}
	sc.LengthS = at
	own := *sh
	own.Scenes = []sheet.Scene{sc}
	t, err := scene.Build(&own, lib, sc.Name)
	if err != nil {
		return nil, err
	}
	if pkg.Engine == nil {
		return t, nil
	}
	const swing = 4.0
	var points []curve.Point
	for k := 0; float64(k)*swing < at+swing; k++ {
		rpm := sh.Engine.IdleRPM
		if k%2 == 1 {
			rpm = sh.Engine.RedlineRPM
		}
		points = append(points, curve.Point{TimeS: float64(k) * swing, RPM: rpm, Load: 1})
	}
	c, err := curve.New(points)
	if err != nil {
		return nil, err
	}
	t.Events = append(t.Events, scene.Event{Key: "scene.engine", Category: mixplan.Engine, Path: "up and down", End: t.Frames, Curve: c,
		Active: []scene.Span{{FromS: 0, ToS: float64(t.Frames) / float64(t.RateHz)}}})
	return t, nil
}
