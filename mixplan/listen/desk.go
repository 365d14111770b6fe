package listen

import (
	"context"
	"math"

	"tachbench/mixplan"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/meet"
	"tachbench/samples"
)

// chunkFrames is the most that is worked on at a time.
const chunkFrames = 512

// Times of the ramps (common practice, no source, save silence: within 10 ms
// with the limiter's delay).
const (
	switchS  = 0.030 // planned and plain, scene and hand, one scene and the next
	faderS   = 0.015
	volumeS  = 0.020
	roomS    = 0.050 // hall and cabinet
	startS   = 0.500
	silenceS = 0.005
)

// desk is everything that sounds. It belongs to the goroutine that calls
// Stream; what the controls want is brought to it by take.
type desk struct {
	rateHz int
	frame  int64
	want   wish // as taken last
	seen   struct{ silences, resets int }

	hand      *hand // nil: no engine
	handOn    ramp  // 0 the scene works the engine .. 1 a hand does
	live      [2][]float64
	cur, old  *lap // old fades out
	ended     int  // the Play whose scene came to its end
	cross     ramp // 0 all old .. 1 all cur
	fadeIn    bool // cur is in the midst of a scene and fades in
	planned   ramp // 0 plain .. 1 planned
	start     ramp
	falling   bool // to silence
	volume    ramp
	hall, cab ramp

	categories []string
	engineBus  int
	calloutBus int
	faders     []ramp
	depths     []depth

	// Work space, all of chunkFrames.
	buses                                         [][2][]float64
	sceneShare, handShare, liveShare              []float64
	plannedShare, match, gain, share, other, mono []float64
	callMono                                      []float64
	mix                                           [2][]float64

	cabinet *speaker
	noise   [2]*ear.HallNoise
	// hallFlat is what the hall's noise is scaled by without the cabinet, so
	// that pink noise stands beside it as at the ear.
	hallFlat float64

	loud       *loud
	machine    top
	output     top
	hold       float64
	clips      clips
	ear        *hearing
	limit      *limiter
	tickFrames int64
}

type depth struct{ duckDB, dipDB float64 }

func newDesk(o Options, rateHz int, categories []string) (*desk, error) {
	d := &desk{rateHz: rateHz, categories: categories, engineBus: -1, calloutBus: -1}
	if o.Engine != nil {
		h, err := newHand(o.Engine, o.Sheet, o.Seed)
		if err != nil {
			return nil, err
		}
		d.hand = h
	}
	var err error
	if d.loud, err = newLoud(rateHz); err != nil {
		return nil, err
	}
	row := func() []float64 { return make([]float64, chunkFrames) }
	for i, c := range categories {
		switch c {
		case mixplan.Engine:
			d.engineBus = i
		case meet.Callout:
			d.calloutBus = i
		}
		d.buses = append(d.buses, [2][]float64{row(), row()})
		d.faders = append(d.faders, ramp{v: 1, to: 1})
	}
	d.depths = make([]depth, len(categories))
	for _, r := range []*[]float64{&d.sceneShare, &d.handShare, &d.liveShare, &d.plannedShare, &d.match, &d.gain, &d.share, &d.other, &d.mono, &d.callMono,
		&d.live[0], &d.live[1], &d.mix[0], &d.mix[1]} {
		*r = row()
	}
	d.want.faders = make([]fader, len(categories))
	d.cross.set(1)
	d.volume.set(volumeGain(o.VolumeDB))
	d.cabinet = newSpeaker(o.Chain, rateHz)
	for c := range d.noise {
		d.noise[c] = o.Chain.NewHallNoise(rateHz, 2*o.Seed+uint64(c))
	}
	// The noise is made in long blocks; the two channels take turns at it.
	d.noise[1].Read(make([]float64, rateHz/4))
	const pinkDBFS = -20
	d.hallFlat = samples.DBAmplitude(o.Chain.FullScaleDB + pinkDBFS - o.Chain.PinkAtEar().DB())
	d.ear = newHearing(o.Chain, rateHz)
	d.limit = newLimiter(rateHz, o.CeilingDBTP)
	d.tickFrames = int64(rateHz / ticksPerSecond)
	return d, nil
}

// volumeGain reads the headphone volume; its lowest is silence.
func volumeGain(db float64) float64 {
	if db <= LowestVolumeDB {
		return 0
	}
	return samples.DBAmplitude(db)
}

func (d *desk) frames(s float64) int { return max(1, int(math.Round(s*float64(d.rateHz)))) }

// stream fills out; the controls were taken.
func (d *desk) stream(out [][2]float64) {
	for len(out) > 0 {
		d.turn()
		n := min(len(out), chunkFrames, d.ear.room(), int(d.tickFrames-d.frame%d.tickFrames))
		if d.cur.scene() && !d.over() {
			n = int(min(int64(n), d.cur.timeline.Frames-d.cur.pos()))
		}
		for _, r := range []*ramp{&d.cross, &d.start, &d.handOn, &d.hall, &d.cab} {
			if r.left > 0 {
				n = min(n, r.left) // something begins or ends there
			}
		}
		d.chunk(out[:n])
		out = out[n:]
	}
}

// turn does what has to be done between two frames.
func (d *desk) turn() {
	if d.falling && d.start.left == 0 {
		d.quiet()
	}
	if d.cross.left == 0 {
		d.old = nil
	}
	if !d.falling {
		d.obey()
	}
	if d.cur.scene() && d.want.loop {
		d.cur.prepare()
	}
	if d.cur.scene() && d.cur.pos() >= d.cur.timeline.Frames && !d.over() {
		if d.want.loop && d.cur.timeline.Frames > 0 {
			d.change(d.cur.repeat(), false)
		} else {
			d.ended = d.cur.play
			d.change(d.want.idle.lap(), false)
		}
	}
}

// over reports whether the scene has ended and only its ducks come back.
func (d *desk) over() bool { return d.cur.play == d.ended }

// obey turns to what the controls want.
func (d *desk) obey() {
	w := &d.want
	if w.silences != d.seen.silences {
		d.seen.silences = w.silences
		if !d.start.off() {
			d.start.aim(0, d.frames(silenceS))
			d.falling = true
			return
		}
		d.quiet()
	}
	if d.old == nil {
		d.adopt()
	}
	hand := 0.0
	if w.drive != ByScene && d.hand != nil {
		if d.handOn.off() {
			d.hand.rest()
		}
		d.hand.bySlider = w.drive == BySlider
		hand = 1
	}
	d.handOn.aim(hand, d.frames(switchS))
	if d.hand != nil {
		d.hand.lever = w.lever
		d.hand.slide(w.rpm, w.load)
	}
	if !w.silenced && d.start.to == 0 && (d.cur.scene() && !d.over() || w.drive != ByScene || w.hall) {
		d.start.aim(1, d.frames(startS))
	}
	to := func(on bool) float64 {
		if on {
			return 1
		}
		return 0
	}
	d.planned.aim(to(w.planned), d.frames(switchS))
	d.hall.aim(to(w.hall), d.frames(roomS))
	if d.cab.off() && w.cabinet {
		d.cabinet.reset()
	}
	d.cab.aim(to(w.cabinet), d.frames(roomS))
	d.volume.aim(volumeGain(w.volumeDB), d.frames(volumeS))
	solo := false
	for _, f := range w.faders {
		solo = solo || f.solo
	}
	for i, f := range w.faders {
		d.faders[i].aim(f.gain(solo), d.frames(faderS))
	}
	if w.resets != d.seen.resets {
		d.seen.resets = w.resets
		d.hold, d.clips.runs = 0, 0
	}
}

// adopt takes over another show, or another plan for the one that plays.
func (d *desk) adopt() {
	next := d.want.show
	if next == nil || next.play == d.ended {
		next = d.want.idle
	}
	if next == d.cur.show {
		return
	}
	l := d.want.first
	if l == nil || l.show != next {
		l = next.lap()
	}
	d.want.first = nil
	same := next.scene() && next.play == d.cur.play
	if same {
		if l.pos() > d.cur.pos() { // the scene began anew in the meantime
			l = next.lap()
		}
		_ = l.skip(context.Background(), d.cur.pos()) // a few ms, never cancelled
	}
	d.change(l, same)
}

// change fades from one lap to another.
func (d *desk) change(l *lap, fadeIn bool) {
	d.old, d.cur, d.fadeIn = d.cur, l, fadeIn
	l.desk = d
	d.cross.set(0)
	d.cross.aim(1, d.frames(switchS))
}

// quiet is the state after silence has fallen.
func (d *desk) quiet() {
	d.falling, d.old = false, nil
	d.cur = d.want.idle.lap()
	d.cur.desk = d
	d.cross.set(1)
	for _, r := range []*ramp{&d.start, &d.handOn, &d.hall} {
		r.set(0)
	}
}
