package solve

import (
	"slices"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/duck"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/scene"
	"tachbench/samples"
)

// promise is what a category sends in a scene by its files, as loud as the
// package holds them with the plan's trims, and the ducking law; one channel
// at the machine's rate. It holds samples and not the frames of the files: a
// frame belongs to its place in a file, and what a short sound, or one that
// begins in the middle of another's frame, sends in it is only known where the
// sound lies in the scene.
type promise struct {
	law    law
	asIs   []float64   // nothing dipped; what all frequencies yield is taken off
	dipped [][]float64 // the same with one of the law's dips at its deepest; nil: bands are taken to be filled evenly
	rateHz int
}

// promiseOf lays out a category. The engine follows a curve that no file
// holds: plain, the plain render of a category, stands for it.
func promiseOf(pkg *meet.Package, t *scene.Timeline, plan *mixplan.Plan, category string, plain *samples.Sound, known *sources) *promise {
	p := &promise{law: lawOf(t, plan, category), asIs: make([]float64, t.Frames), rateHz: t.RateHz}
	files := !slices.ContainsFunc(t.Events, func(e scene.Event) bool { return e.Category == category && e.Curve != nil })
	if files {
		p.dipped = make([][]float64, len(p.law.dips))
		for d := range p.dipped {
			p.dipped[d] = make([]float64, t.Frames)
		}
		for _, e := range t.Events {
			if e.Category != category || e.End <= e.At {
				continue
			}
			gain := samples.DBAmplitude(known.gainDB(pkg, e, plan))
			lay(p.asIs, e, e.Clip.Sound.Mono(), 0, t.RateHz, gain)
			for d, b := range p.law.dips {
				x, before := known.of(e, t.RateHz, b, p.law.deepest[d])
				lay(p.dipped[d], e, x, before, t.RateHz, gain)
			}
		}
	} else {
		gain := samples.DBAmplitude(plan.TrimDB(category, "") + plan.BusGainDB)
		for i, v := range plain.Mono()[:t.Frames] {
			p.asIs[i] = gain * v
		}
	}
	for i, db := range p.law.broadDB {
		if db == 0 {
			continue
		}
		g := samples.DBAmplitude(-db)
		p.asIs[i] *= g
		for _, x := range p.dipped {
			x[i] *= g
		}
	}
	p.law.broadDB = nil // taken off; a scene is long
	return p
}

// frames returns what arrives at the ear while a callout's event lasts.
func (p *promise) frames(a *meet.Analyser, e scene.Event, chain *ear.Chain) []sii.Masker {
	asIs := a.Frames(p.asIs[e.At:e.End])
	out := slices.Clone(asIs)
	step := meet.StepFrames(p.rateHz)
	for d := range p.law.dips {
		var dipped []ear.Levels
		even := maskerGains(gainsDB(p.rateHz, &p.law.dips[d], p.law.deepest[d], p.law.deepest[d]))
		if p.dipped != nil {
			dipped = a.Frames(p.dipped[d][e.At:e.End])
		}
		for i := range out {
			left := leftOf(p.law.dipDB[d][min(e.At+int64(i*step+step/2), e.End-1)], p.law.deepest[d])
			for k, full := range even {
				if power := asIs[i][k]; dipped != nil && power > 0 {
					full = dipped[i][k] / power
				}
				out[i][k] *= full + (1-full)*left
			}
		}
	}
	return meet.AtEar(out, chain)
}

// promisedSpeech is the spectrum of a callout in a scene. It is that of its
// file unless the plan lets callouts yield to something that sounds there.
func promisedSpeech(pkg *meet.Package, t *scene.Timeline, plan *mixplan.Plan, e scene.Event, callout *meet.Sound) sii.Levels {
	if len(plan.Yielding(meet.Callout)) == 0 {
		return callout.Speech
	}
	l := lawOf(t, plan, meet.Callout)
	d := depths{dips: l.dips, deepest: l.deepest, dipDB: make([][]float64, len(l.dips))}
	step := meet.StepFrames(t.RateHz)
	for f := range callout.Power {
		at := min(e.At+int64(f*step+step/2), t.Frames-1)
		d.broadDB = append(d.broadDB, l.broadDB[at])
		for j := range d.dips {
			d.dipDB[j] = append(d.dipDB[j], l.dipDB[j][at])
		}
	}
	return yielding(callout, t.RateHz, d)
}

// depths is the ducking law at some moments: how deep a category is ducked as
// a whole and in each band, in dB.
type depths struct {
	broadDB []float64
	dips    []mixplan.Dip
	deepest []float64   // of each dip's rules
	dipDB   [][]float64 // dipDB[dip][moment]
}

// law is the ducking law at every frame of a scene.
type law depths

// lawOf follows the law through a scene.
func lawOf(t *scene.Timeline, plan *mixplan.Plan, category string) law {
	ducks := plan.Yielding(category)
	c := duck.New(t.RateHz, category, ducks)
	for _, e := range t.Events {
		for _, a := range e.Active {
			c.Speak(e.Category, a.FromS, a.ToS)
		}
	}
	out := law{broadDB: make([]float64, t.Frames), dips: c.Bands()}
	for _, b := range out.dips {
		deepest := 0.0
		for _, d := range ducks {
			if d.Dip != nil && *d.Dip == b {
				deepest = max(deepest, d.DepthDB)
			}
		}
		out.deepest = append(out.deepest, deepest)
		out.dipDB = append(out.dipDB, make([]float64, t.Frames))
	}
	c.Next(out.broadDB, out.dipDB...)
	return out
}
