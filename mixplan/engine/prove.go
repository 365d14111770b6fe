package engine

import (
	"context"
	"fmt"
	"math"
	"sort"

	"tachbench/analysis/fidelity"
	"tachbench/samples"
	"tachbench/samples/bank"
	"tachbench/samples/crank"
	"tachbench/synth/curve"
	"tachbench/synth/note"
)

// Trial is one render of the note, judged.
type Trial struct {
	Name    string // "sweep", or the recording held beside it
	Kind    TrialKind
	FromRPM float64
	ToRPM   float64
	Report  *fidelity.Report
}

// TrialKind says how a trial was set up.
type TrialKind string

// The three kinds of trial.
const (
	// Sweep runs in 8 s from idle to redline, or as far as the recordings
	// reach without a stretch of more than bank.ResampleLimit at the ends.
	Sweep TrialKind = "sweep"
	// Hold plays the revs of a steady recording from the whole bank and
	// compares with that recording.
	Hold TrialKind = "hold"
	// LeftOut plays the revs of a steady recording from a bank made without
	// it and compares with it: what the note is worth between recordings.
	LeftOut TrialKind = "left out"
)

const (
	trialS    = 8.0  // length of a trial
	holdRange = 0.06 // a recording is a hold when its revs stay within this share
	holdMinS  = 1.0  // and is this long
	// leftOutReach is how far, in ln(RPM), the nearest other grain may lie
	// for a left-out trial to make sense.
	leftOutReach = 0.06
)

// Prove renders and measures trials: a sweep, and for up to maxHolds steady
// recordings (spread over the range) a hold and a left-out hold. All are at
// the load of the best-covered layer. Same engine, same figures.
func (e *Engine) Prove(ctx context.Context, layout crank.Layout, idleRPM, redlineRPM float64, maxHolds int) ([]Trial, error) {
	load, parts := e.mainLoad()
	sources := make([]fidelity.Recording, len(parts))
	for i, p := range parts {
		sources[i] = fidelity.Recording{Sound: p.Sound, Track: p.Track}
	}
	lo, hi := e.Bank.RangeRPM()
	from, to := math.Max(lo/(1+bank.ResampleLimit), idleRPM), math.Min(hi*(1+bank.ResampleLimit), redlineRPM)
	var trials []Trial
	run := func(t Trial, b *bank.Bank, src []fidelity.Recording, held *fidelity.Recording) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		c, err := curve.Sweep(t.FromRPM, t.ToRPM, load, trialS)
		if err != nil {
			return err
		}
		sound, log := renderLogged(b, c)
		t.Report, err = fidelity.Evaluate(fidelity.Case{
			Render: sound, Revs: fidelity.Sweep(t.FromRPM, t.ToRPM, trialS), Layout: layout,
			Sources: src, HeldOut: held, Grains: log,
		})
		if err != nil {
			return fmt.Errorf("%s, %s: %w", t.Name, t.Kind, err)
		}
		trials = append(trials, t)
		return nil
	}
	if to > from {
		if err := run(Trial{Name: "sweep", Kind: Sweep, FromRPM: from, ToRPM: to}, e.Bank, sources, nil); err != nil {
			return nil, err
		}
	}
	for _, i := range e.holds(parts, maxHolds) {
		rpm := e.fact(parts[i].Name).MedianRPM
		if err := run(Trial{Name: parts[i].Name, Kind: Hold, FromRPM: rpm, ToRPM: rpm}, e.Bank, sources, nil); err != nil {
			return nil, err
		}
		rest := append(append([]Tracked(nil), parts[:i]...), parts[i+1:]...)
		b, err := buildFrom(layout, rest)
		if err != nil || !near(b, rpm) {
			continue
		}
		src := append(append([]fidelity.Recording(nil), sources[:i]...), sources[i+1:]...)
		if err := run(Trial{Name: parts[i].Name, Kind: LeftOut, FromRPM: rpm, ToRPM: rpm}, b, src, &sources[i]); err != nil {
			return nil, err
		}
	}
	return trials, nil
}

// mainLoad returns the load with the most grains and its recordings.
func (e *Engine) mainLoad() (float64, []Tracked) {
	best := 0
	for i, l := range e.Bank.Layers {
		if len(l.Grains) >= len(e.Bank.Layers[best].Grains) {
			best = i
		}
	}
	load := e.Bank.Layers[best].Load
	var parts []Tracked
	for _, t := range e.Tracked {
		mine := true // its nearest layer is this one
		for _, l := range e.Bank.Layers {
			mine = mine && math.Abs(t.Load-load) <= math.Abs(t.Load-l.Load)
		}
		if mine {
			parts = append(parts, t)
		}
	}
	return load, parts
}

func (e *Engine) fact(name string) Fact {
	for _, f := range e.Facts {
		if f.Name == name {
			return f
		}
	}
	return Fact{}
}

// holds picks up to n steady recordings, the first, the last and evenly
// between in order of revs.
func (e *Engine) holds(parts []Tracked, n int) []int {
	var all []int
	for i, p := range parts {
		if f := e.fact(p.Name); f.MaxRPM <= f.MinRPM*(1+holdRange) && f.FoundS >= holdMinS {
			all = append(all, i)
		}
	}
	sort.SliceStable(all, func(a, b int) bool {
		return e.fact(parts[all[a]].Name).MedianRPM < e.fact(parts[all[b]].Name).MedianRPM
	})
	if len(all) <= n || n < 1 {
		return all[:min(len(all), max(n, 0))]
	}
	out := make([]int, n)
	for k := range out {
		out[k] = all[k*(len(all)-1)/max(1, n-1)]
	}
	return out
}

func buildFrom(layout crank.Layout, parts []Tracked) (*bank.Bank, error) {
	var recs []bank.Recording
	for _, p := range parts {
		recs = append(recs, bank.Recording{Name: p.Name, Sound: p.Sound, Track: p.Track, Load: p.Load})
	}
	return bank.Build(layout, recs)
}

// near tells whether a bank has grains close to rpm.
func near(b *bank.Bank, rpm float64) bool {
	for _, l := range b.Layers {
		for _, g := range l.Grains {
			if math.Abs(g.LnRPM-math.Log(rpm)) < leftOutReach {
				return true
			}
		}
	}
	return false
}

// renderLogged plays a curve and keeps the log of grains.
func renderLogged(b *bank.Bank, c *curve.Curve) (*samples.Sound, []fidelity.GrainUse) {
	var log []fidelity.GrainUse
	frames := int(math.Round(c.DurationS() * float64(b.RateHz)))
	n := note.New(b, note.Options{Source: c, Frames: int64(frames), OnUse: func(u note.Use) {
		log = append(log, fidelity.GrainUse{ID: u.Layer<<24 | u.Grain, AtS: u.TimeS})
	}})
	s := samples.NewSound(b.RateHz, b.Channels, frames)
	n.Fill(s.Chans)
	return s, log
}
