package listen

import (
	"context"
	"math"

	"tachbench/analysis/sii"
	"tachbench/mixplan"
	"tachbench/mixplan/engine"
	"tachbench/mixplan/meet"
	"tachbench/mixplan/render"
	"tachbench/mixplan/scene"
	"tachbench/samples"
	"tachbench/synth/curve"
)

// show is what is to be played: a scene with or without a plan, or no scene,
// which is the machine with nothing but its live engine. It does not change.
type show struct {
	timeline *scene.Timeline // without events for no scene
	plan     *mixplan.Plan
	eng      *engine.Engine
	seed     uint64
	play     int // which Play it belongs to; 0: no scene

	// Gains that make plain and planned equally loud, 1 at most.
	matchPlain, matchPlanned float64

	callouts []callout // by time
}

// callout is one callout of a scene.
type callout struct {
	path          string
	fromS, toS    float64
	speaks        []scene.Span
	long          sii.Levels // its spectrum level at the ear before any gain, dB SPL per hertz
	silent        bool
	listener      *sii.Listener
	plannedTrimDB float64
}

// scene reports whether there is one.
func (s *show) scene() bool { return s.play > 0 }

// match is what the path that is heard is turned down by, dB.
func (s *show) matchDB(planned bool) float64 {
	if planned && s.plan != nil {
		return samples.AmplitudeDB(s.matchPlanned)
	}
	return samples.AmplitudeDB(s.matchPlain)
}

// even sets the gains from how much louder planned is than plain.
func (s *show) even(louderDB float64) {
	if math.IsNaN(louderDB) {
		louderDB = 0
	}
	s.matchPlain = samples.DBAmplitude(math.Min(0, louderDB))
	s.matchPlanned = samples.DBAmplitude(math.Min(0, -louderDB))
}

// lap is a show being played: two streams side by side. It belongs to one
// goroutine at a time.
type lap struct {
	*show
	plain, planned path // planned has no stream without a plan
	curves         []heldCurve

	desk *desk // whose live engine is put in while the lap is heard; nil: none

	again chan *lap // the next lap of a loop, once it was asked for
}

// prepare makes the next lap of a loop ready, beside the sound: opening files
// at another rate takes some milliseconds each.
func (l *lap) prepare() {
	if l.again == nil {
		l.again = make(chan *lap, 1)
		go func(s *show, done chan<- *lap) { done <- s.lap() }(l.show, l.again)
	}
}

// repeat returns the next lap of the loop.
func (l *lap) repeat() *lap {
	l.prepare()
	return <-l.again
}

// path is one of the two streams.
type path struct {
	s        *render.Stream
	liveGain float64 // the plan's trim of a live engine
	busGain  float64
	blocks   []render.Block
}

// heldCurve is an engine event's curve, of which only its owner may ask.
type heldCurve struct {
	at, end int64
	c       *curve.Curve
}

// lap returns the show at its first frame.
func (s *show) lap() *lap {
	l := &lap{show: s}
	open := func(p *mixplan.Plan) path {
		o := render.StreamOptions{Plan: p, Seed: s.seed, Channels: 2, MaxFrames: chunkFrames, Depths: true, Insert: l.insert(p)}
		if s.eng != nil {
			o.Also = []string{mixplan.Engine}
		}
		st, err := render.NewStream(s.timeline, s.eng, o)
		if err != nil {
			panic("listen: " + err.Error()) // Play has looked for an engine
		}
		out := path{s: st, liveGain: samples.DBAmplitude(p.TrimDB(mixplan.Engine, "")), busGain: 1}
		if p != nil {
			out.busGain = samples.DBAmplitude(p.BusGainDB)
		}
		return out
	}
	l.plain = open(nil)
	if s.plan != nil {
		l.planned = open(s.plan)
	}
	for _, e := range s.timeline.Events {
		if e.Curve != nil && e.End > e.At {
			c, err := curve.New(e.Curve.Points())
			if err != nil {
				panic("listen: " + err.Error())
			}
			l.curves = append(l.curves, heldCurve{e.At, e.End, c})
		}
	}
	return l
}

// pos is the next frame.
func (l *lap) pos() int64 { return l.plain.s.Position() }

// skip plays on to a frame without being heard.
func (l *lap) skip(ctx context.Context, to int64) error {
	l.desk = nil
	for at := l.pos(); at < to; at = l.pos() {
		if err := ctx.Err(); err != nil {
			return err
		}
		l.next(int(min(chunkFrames, to-at)))
	}
	return nil
}

// next plays the next n frames of both streams.
func (l *lap) next(n int) {
	l.plain.blocks = l.plain.s.Next(n)
	if l.planned.s != nil {
		l.planned.blocks = l.planned.s.Next(n)
	}
}

// insert returns what puts the live engine into the engine's bus, where the
// plan's ducks find it.
func (l *lap) insert(p *mixplan.Plan) func(string, [][]float64) {
	trim := samples.DBAmplitude(p.TrimDB(mixplan.Engine, ""))
	return func(category string, block [][]float64) {
		if category != mixplan.Engine || l.desk == nil {
			return
		}
		d := l.desk
		for c, x := range block {
			live := d.live[c]
			for i := range x {
				x[i] = x[i]*d.sceneShare[i]*(1-d.handShare[i]) + trim*live[i]*d.liveShare[i]
			}
		}
	}
}

// rpmAt returns revs and load of the scene's own engine.
func (l *lap) rpmAt(pos int64) (rpm, load float64) {
	for _, k := range l.curves {
		if pos >= k.at && pos < k.end {
			return k.c.At(float64(pos-k.at) / float64(l.timeline.RateHz))
		}
	}
	return math.NaN(), math.NaN()
}

// calloutAt returns which callout began last of those that sound at a frame,
// and whether it speaks there; -1 for none.
func (l *lap) calloutAt(pos int64) (which int, speaks bool) {
	which = -1
	t := float64(pos) / float64(l.timeline.RateHz)
	for i := range l.callouts {
		if c := &l.callouts[i]; t >= c.fromS && t < c.toS {
			which = i
		}
	}
	if which >= 0 {
		for _, a := range l.callouts[which].speaks {
			speaks = speaks || t >= a.FromS && t < a.ToS
		}
	}
	return which, speaks
}

// newShow makes everything ready to play a scene; nil for no scene.
func (b *Bench) newShow(ctx context.Context, t *scene.Timeline, p *mixplan.Plan, play int) (*show, error) {
	s := &show{timeline: t, plan: p, eng: b.opt.Engine, seed: b.opt.Seed, play: play, matchPlain: 1, matchPlanned: 1}
	if t == nil {
		s.timeline, s.play = &scene.Timeline{RateHz: b.rateHz}, 0
		if p != nil {
			s.even(p.TrimDB(mixplan.Engine, "") + p.BusGainDB)
		}
		return s, nil
	}
	for _, e := range t.Events {
		if e.Category == meet.Callout && e.Clip != nil && e.End > e.At {
			v := b.voiceOf(e.Clip)
			s.callouts = append(s.callouts, callout{path: e.Path, fromS: float64(e.At) / float64(b.rateHz), toS: float64(e.End) / float64(b.rateHz),
				speaks: e.Active, long: v.long, silent: v.silent, listener: b.listener(e.Path),
				plannedTrimDB: p.TrimDB(e.Category, e.Path)})
		}
	}
	if p == nil {
		return s, nil
	}
	plain, err := b.loudness(ctx, t, nil)
	if err != nil {
		return nil, err
	}
	planned, err := b.loudness(ctx, t, p)
	if err != nil {
		return nil, err
	}
	s.even(planned - plain)
	return s, nil
}
