package solve

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/render"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/sheet"
)

// How near a render has to come to what the plan promised.
const (
	ProofSII     = 0.03
	ProofLevelDB = 0.3
)

// Proof is the plan measured on rendered scenes.
type Proof struct {
	Scenes   []string // that were rendered, the made-up one last
	Callouts []Proven // in the order of the scenes
	Skipped  []string // why a callout was left out, whole sentences

	// The scenes one after the other, without and with the plan.
	Plain, Planned render.Levels
}

// Proven is a callout in a scene.
type Proven struct {
	Scene, Path   string
	AtS           float64
	Plain         float64 // index measured on the plain render
	Promised      float64 // index from the files, the plan and the law
	Measured      float64 // index measured on the planned render
	WorstLevelDB  float64 // largest difference of a category's level from what was promised
	WorstLevelOf  string
	PlainUnderDBA float64 // level at the ear of the hall and all that plays beside the callout
	UnderDBA      float64 // the same with the plan
}

// Holds reports whether the render did what was promised.
func (p Proven) Holds() bool {
	return math.Abs(p.Measured-p.Promised) <= ProofSII && math.Abs(p.WorstLevelDB) <= ProofLevelDB
}

// Holds reports whether every callout's does.
func (p *Proof) Holds() bool {
	return !slices.ContainsFunc(p.Callouts, func(c Proven) bool { return !c.Holds() })
}

// Prove renders every scene that has callouts, and a made-up one in which
// every callout meets music, an effect and a pull of the engine, without and
// with the plan, and measures again. pkg and r are as Solve or Check left
// them.
//
// Compared are, over the frames in which a callout speaks: the index; the
// level of the callout by its long-term speech spectrum; and the A-weighted
// level of each other category at the ear, against what its files, laid where
// the scene has them, send under the plan's trims and the ducking law. A sound
// that only touches those frames counts with the energy it has in them. A
// category that stays 15 dB under the hall both times is not compared: nobody
// hears it.
func Prove(ctx context.Context, pkg *meet.Package, sh *sheet.Sheet, r *Result, seed uint64) (*Proof, error) {
	lib := scene.NewLibrary(sh.SampleRateHz)
	var lines []*scene.Timeline
	for _, sc := range sh.Scenes {
		t, err := scene.Build(sh, lib, sc.Name)
		if err != nil {
			return nil, err
		}
		if pkg.Engine != nil || !t.HasEngine() {
			lines = append(lines, t)
		}
	}
	t, err := parade(pkg, sh, lib)
	if err != nil {
		return nil, err
	}
	lines = append(lines, t)
	p := &Proof{}
	known := newSources(sh.SampleRateHz)
	var meters [2]*render.Meter
	for i := range meters {
		if meters[i], err = render.NewMeter(sh.SampleRateHz, 2); err != nil {
			return nil, err
		}
	}
	for _, t := range lines {
		if !slices.ContainsFunc(t.Events, func(e scene.Event) bool { return e.Category == meet.Callout }) {
			continue
		}
		p.Scenes = append(p.Scenes, t.Name)
		var takes [2]take
		errs := make([]error, 2)
		parallel(2, 0, func(i int) {
			plan := []*mixplan.Plan{nil, r.Plan}[i]
			takes[i].mix, takes[i].stems, _, errs[i] = render.Sound(ctx, t, pkg.Engine, render.Options{Plan: plan, Seed: seed})
			if errs[i] == nil {
				errs[i] = meter(takes[i].mix, meters[i])
			}
		})
		if err := cmp.Or(errs[0], errs[1]); err != nil {
			return nil, err
		}
		p.callouts(pkg, t, r, takes, known)
	}
	p.Plain, p.Planned = meters[0].Levels(), meters[1].Levels()
	return p, ctx.Err()
}

type take struct {
	mix   *samples.Sound
	stems map[string]*samples.Sound
}

// meter reads the mixes of several scenes as one, all as two channels.
func meter(s *samples.Sound, m *render.Meter) error {
	return m.Write([][]float64{s.Chans[0], s.Chans[len(s.Chans)-1]})
}

// callouts measures every callout of a scene on its two renders.
func (p *Proof) callouts(pkg *meet.Package, t *scene.Timeline, r *Result, takes [2]take, known *sources) {
	var events []scene.Event
	for _, e := range t.Events {
		if e.Category == meet.Callout {
			events = append(events, e)
		}
	}
	promises := map[string]*promise{}
	for _, category := range t.Categories() {
		if category != meet.Callout {
			promises[category] = promiseOf(pkg, t, r.Plan, category, takes[0].stems[category], known)
		}
	}
	out := make([]*Proven, len(events))
	skipped := make([]string, len(events))
	parallel(len(events), 0, func(i int) {
		e := events[i]
		k := slices.IndexFunc(pkg.Callouts, func(s *meet.Sound) bool { return s.Path == e.Path })
		over := slices.ContainsFunc(events, func(o scene.Event) bool { return o.Key != e.Key && o.At < e.End && e.At < o.End })
		switch {
		case k < 0 || len(pkg.Callouts[k].Spans) == 0:
			skipped[i] = fmt.Sprintf("%s in scene %q has no speech.", e.Path, t.Name)
		case over || e.Loop:
			skipped[i] = fmt.Sprintf("%s in scene %q meets another callout, or itself.", e.Path, t.Name)
		case e.End-e.At < int64(len(pkg.Callouts[k].Power)-1)*int64(meet.StepFrames(t.RateHz)):
			skipped[i] = fmt.Sprintf("%s in scene %q is cut off.", e.Path, t.Name)
		default:
			out[i] = proveOne(pkg, t, r, takes, e, pkg.Callouts[k], promises)
		}
	})
	for i := range out {
		if out[i] != nil {
			p.Callouts = append(p.Callouts, *out[i])
		} else {
			p.Skipped = append(p.Skipped, skipped[i])
		}
	}
}

// quietDB is how far under the hall a category's level is no longer compared.
const quietDB = 15

func proveOne(pkg *meet.Package, t *scene.Timeline, r *Result, takes [2]take, e scene.Event, callout *meet.Sound, promises map[string]*promise) *Proven {
	a := meet.NewAnalyser(t.RateHz)
	out := &Proven{Scene: t.Name, Path: e.Path, AtS: float64(e.At) / float64(t.RateHz)}
	l, n, active := callout.Listener(), len(callout.Power), callout.Active
	e.End = min(e.End, e.At+int64(n*meet.StepFrames(t.RateHz))) // no frame more than the file has
	frames := func(s *samples.Sound) []sii.Masker { return meet.AtEar(a.Frames(cut(s, e)), pkg.Chain) }
	worse := func(d float64, of string) {
		if math.Abs(d) > math.Abs(out.WorstLevelDB) {
			out.WorstLevelDB, out.WorstLevelOf = d, of
		}
	}
	hall := func() []sii.Masker {
		h := make([]sii.Masker, n)
		for i := range h {
			h[i] = pkg.Hall
		}
		return h
	}
	floor := level(hall(), active) - quietDB
	plain, got, want := hall(), hall(), hall()
	var plainSpeech, speech sii.Levels
	promisedSpeech := promisedSpeech(pkg, t, r.Plan, e, callout)
	for _, category := range t.Categories() {
		before, after := frames(takes[0].stems[category]), frames(takes[1].stems[category])
		if category == meet.Callout {
			plainSpeech, speech = longTerm(before, active), longTerm(after, active)
			worse(sii.OverallDB(speech)-sii.OverallDB(promisedSpeech), category)
			continue
		}
		promise := promises[category].frames(a, e, pkg.Chain)
		add(plain, before)
		add(got, after)
		add(want, promise)
		if g, w := level(after, active), level(promise, active); math.Max(g, w) > floor {
			worse(g-w, category)
		}
	}
	out.Plain = sii.Extended(l, []sii.Levels{plainSpeech}, plain, active).Mean
	out.Measured = sii.Extended(l, []sii.Levels{speech}, got, active).Mean
	out.Promised = sii.Extended(l, []sii.Levels{promisedSpeech}, want, active).Mean
	out.PlainUnderDBA, out.UnderDBA = level(plain, active), level(got, active)
	return out
}

// cut returns the part of a render in which an event sounds, as one channel.
func cut(s *samples.Sound, e scene.Event) []float64 { return s.Slice(int(e.At), int(e.End)).Mono() }

func add(sum, more []sii.Masker) {
	for i := range min(len(sum), len(more)) {
		for k, p := range more[i] {
			sum[i][k] += p
		}
	}
}

// level is the A-weighted level of active frames over all masker bands, dB.
// Weighted, because windows of a third of a second at 20 Hz see a thump
// elsewhere in a scene than in its file.
func level(frames []sii.Masker, active []bool) float64 {
	sum, n := 0.0, 0
	for i, on := range active {
		if !on || i >= len(frames) {
			continue
		}
		n++
		for k, p := range frames[i] {
			sum += p * samples.DBPower(sii.MaskerBandwidthDB[k]+weightDB[k])
		}
	}
	return samples.PowerDB(sum / float64(max(1, n)))
}

// longTerm is the speech spectrum of active frames.
func longTerm(frames []sii.Masker, active []bool) sii.Levels {
	levels := make([]sii.Levels, len(frames))
	for i := range frames {
		for b := range levels[i] {
			levels[i][b] = samples.PowerDB(frames[i][sii.LowBands+b])
		}
	}
	return sii.LongTerm(levels, active[:len(frames)])
}
