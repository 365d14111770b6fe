package listen

import (
	"context"
	"math"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/render"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/samples/resample"
)

// What takes a while is measured on the caller's goroutine, once, and kept.
// The fields are guarded by Bench.prepare.
type kept struct {
	loud  map[loudKey]float64
	voice map[*scene.Clip]voice
}

type loudKey struct {
	timeline *scene.Timeline
	plan     *mixplan.Plan
}

// voice is the long-term spectrum of a callout at the ear.
type voice struct {
	long   sii.Levels
	silent bool
}

// keepAtMost bounds what is remembered; a map of callouts and revs makes a
// timeline for every meeting somebody listens to.
const keepAtMost = 256

// loudness returns the integrated loudness of a scene, all faders at 0 dB and
// the engine as the scene has it, LUFS; NaN if there is none.
func (b *Bench) loudness(ctx context.Context, t *scene.Timeline, p *mixplan.Plan) (float64, error) {
	key := loudKey{t, p}
	if v, ok := b.kept.loud[key]; ok {
		return v, nil
	}
	m, err := render.NewMeter(b.rateHz, render.Channels(t, b.opt.Engine))
	if err != nil {
		return math.NaN(), err
	}
	if _, err := render.Run(ctx, t, b.opt.Engine, render.Options{Plan: p, Seed: b.opt.Seed, Mix: m}); err != nil {
		return math.NaN(), err
	}
	if len(b.kept.loud) >= keepAtMost {
		clear(b.kept.loud)
	}
	v := m.Levels().IntegratedLUFS
	b.kept.loud[key] = v
	return v, nil
}

// voiceOf measures the speech of a callout as package meet does: the mean of
// the frames in which it speaks.
func (b *Bench) voiceOf(c *scene.Clip) voice {
	if v, ok := b.kept.voice[c]; ok {
		return v
	}
	s := c.Sound
	if s.RateHz != b.rateHz {
		s = resample.Sound(s, b.rateHz)
	}
	a := meet.NewAnalyser(b.rateHz)
	var sum ear.Levels
	n := 0
	for i, f := range a.Frames(s.Mono()) {
		middle := (float64(i) + 0.5) * a.StepS()
		for _, span := range c.Active {
			if middle >= span.FromS && middle < span.ToS {
				n++
				for k, p := range f {
					sum[k] += p
				}
				break
			}
		}
	}
	v := voice{silent: n == 0}
	long := ear.Silence()
	for k, p := range sum {
		long[k] = samples.PowerDB(p/float64(max(1, n))) + b.opt.Chain.GainDB[k]
	}
	v.long = long.SpeechSpectrum()
	if len(b.kept.voice) >= keepAtMost {
		clear(b.kept.voice)
	}
	b.kept.voice[c] = v
	return v
}

// listener is whom a callout is judged by.
func (b *Bench) listener(path string) *sii.Listener {
	s := &meet.Sound{}
	if c := b.opt.Sheet.Category(meet.Callout); c != nil {
		for _, f := range c.Files {
			if f.Rel == path {
				s.OneWord = f.OneWord
			}
		}
	}
	return s.Listener()
}
