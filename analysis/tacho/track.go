package tacho

import (
	"math"

	"tachbench/samples"
	"tachbench/samples/crank"
)

// An engine is looked for in sounds of at least this length and rate.
const (
	shortestSoundS = 0.1
	lowestRateHz   = 2000
)

// revsSmoothS is the reach to each side of the line fitted to the reported
// revs. The phase is left as it is.
const revsSmoothS = 0.08

// Track reads the revs along s. Point i of the result lies at i·HopS; the
// last lies at or just before the end. RPM and Phase are NaN where no engine
// could be told, and the confidence there is below that of the rest.
//
// It returns a *NoEngineError if no stretch of s holds an engine of this
// layout in the range asked for, and a plain error for an unusable layout or
// option. It panics if s has no channel.
func Track(s *samples.Sound, layout crank.Layout, opt Options) (*crank.Track, error) {
	if err := layout.Validate(); err != nil {
		return nil, err
	}
	opt, err := opt.withDefaults()
	if err != nil {
		return nil, err
	}
	fail := &NoEngineError{Layout: layout, MinRPM: opt.MinRPM, MaxRPM: opt.MaxRPM, LengthS: s.DurationS()}
	if s.DurationS() < shortestSoundS {
		fail.Reason = "the sound is shorter than 0.1 s"
		return nil, fail
	}
	if s.RateHz < lowestRateHz {
		fail.Reason = "the sample rate is below 2 kHz"
		return nil, fail
	}
	sig := prepare(s)
	g := newGrid(opt.MinRPM, opt.MaxRPM)
	hops := int(s.DurationS()/pathHopS) + 1
	rows := emissions(sig, layout, g, hops)
	path := bestPath(rows, g)
	for i, at := range path {
		path[i] = layout.CycleHz(g.rpm(at))
	}
	points := int(s.DurationS()/opt.HopS+1e-9) + 1
	r := refine(sig, layout, onPoints(path, points, opt.HopS), opt.HopS, allPasses)
	conf := confidences(r, layout, opt.HopS)
	on := stretches(conf, r.cycleHz, opt.HopS)
	if settle(sig, layout, r, on, opt.HopS, rows, g) {
		r = refine(sig, layout, r.cycleHz, opt.HopS, lastPasses)
		conf = confidences(r, layout, opt.HopS)
		on = stretches(conf, r.cycleHz, opt.HopS)
	}
	t := &crank.Track{HopS: opt.HopS, RPM: make([]float64, points), Confidence: conf, Phase: make([]float64, points)}
	// A shaky firing shakes the phase; the revs of a crank with a flywheel do
	// not jump like that.
	revs := smooth(r.cycleHz, int(math.Round(revsSmoothS/opt.HopS)))
	found := false
	for i := range t.RPM {
		fail.BestConfidence = math.Max(fail.BestConfidence, conf[i])
		t.RPM[i], t.Phase[i] = math.NaN(), math.NaN()
		if on[i] {
			found = true
			t.RPM[i], t.Phase[i] = layout.RPM(revs[i]), r.phase[i]
		}
	}
	if !found {
		fail.Reason = "no stretch shows lines at the orders of such an engine"
		return nil, fail
	}
	return t, nil
}
