package solve

import (
	"fmt"
	"slices"

	"tachbench/mixplan"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/scene"
	"tachbench/samples/sheet"
	"tachbench/synth/curve"
)

// The made-up scene: callouts one after the other, with this much between
// them, and no more than paradeMost of them, because both renders of it are
// held in memory, category by category.
const (
	paradeGapS = 1.2
	paradeMost = 16
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
