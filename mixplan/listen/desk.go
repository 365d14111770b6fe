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

// chunk makes the next frames.
func (d *desk) chunk(out [][2]float64) {
	n := len(out)
	d.playHand(n)
	for i := range d.buses {
		clear(d.buses[i][0][:n])
		clear(d.buses[i][1][:n])
	}
	d.planned.fill(d.plannedShare[:n])
	match := d.match[:n]
	clear(match)
	clear(d.share[:n])
	d.cross.fill(d.share[:n])
	if d.old != nil {
		for i, x := range d.share[:n] {
			d.other[i] = 1 - x
		}
		d.playLap(d.old, d.other[:n], d.other[:n])
	}
	scene := d.share[:n]
	if !d.fadeIn {
		for i := range d.mono[:n] {
			d.mono[i] = 1
		}
		scene = d.mono[:n]
	}
	d.playLap(d.cur, scene, d.share[:n])
	d.sum(n)
	d.room(n, out)
	d.frame += int64(n)
	d.ticks()
}

// playHand makes the live engine.
func (d *desk) playHand(n int) {
	off := d.hand == nil || d.handOn.off()
	d.handOn.fill(d.handShare[:n])
	if off {
		clear(d.live[0][:n])
		clear(d.live[1][:n])
		return
	}
	l, r := d.hand.play(n)
	for i, g := range d.handShare[:n] {
		d.live[0][i], d.live[1][i] = g*l[i], g*r[i]
	}
}

// playLap adds a lap to the buses: the scene's sounds by scene, the live engine
// by whole.
func (d *desk) playLap(l *lap, scene, whole []float64) {
	n := len(whole)
	copy(d.liveShare[:n], whole)
	l.plain.s.Fade(d.sceneShare[:n])
	for i, g := range scene {
		d.sceneShare[i] *= g
	}
	l.next(n)
	mPlain, mPlanned := l.matchPlain, l.matchPlanned
	if l.planned.s == nil {
		for i := range whole {
			d.gain[i] = 1
			d.match[i] += whole[i] * mPlain
		}
		d.add(&l.plain, n, l == d.cur)
		return
	}
	for i, p := range d.plannedShare[:n] {
		d.gain[i] = 1 - p
		d.match[i] += whole[i] * (mPlain + p*(mPlanned-mPlain))
	}
	d.add(&l.plain, n, l == d.cur && d.planned.to == 0)
	copy(d.gain[:n], d.plannedShare[:n])
	d.add(&l.planned, n, l == d.cur && d.planned.to == 1)
}

// add adds one path, times d.gain; shown paths tell their depths.
func (d *desk) add(p *path, n int, shown bool) {
	for k := range p.blocks {
		b := &p.blocks[k]
		bus := d.busOf(b.Category)
		if bus < 0 {
			continue
		}
		if shown {
			d.depths[bus] = depth{b.DuckDB, b.DipDB}
		}
		for c := range d.buses[bus] {
			dst, x, g := d.buses[bus][c][:n], b.Sound[c][:n], d.gain[:n]
			if bus == d.engineBus { // its fades were put in before its ducks
				for i, v := range x {
					dst[i] += p.busGain * g[i] * v
				}
				continue
			}
			fade := d.sceneShare[:n]
			for i, v := range x {
				dst[i] += p.busGain * g[i] * fade[i] * v
			}
		}
	}
}

func (d *desk) busOf(category string) int {
	for i, c := range d.categories {
		if c == category {
			return i
		}
	}
	return -1
}

// sum adds up the buses to the machine's sum and measures it.
func (d *desk) sum(n int) {
	l, r := d.mix[0][:n], d.mix[1][:n]
	clear(l)
	clear(r)
	clear(d.callMono[:n])
	for k := range d.buses {
		d.faders[k].fill(d.gain[:n])
		for c, mix := range [2][]float64{l, r} {
			x := d.buses[k][c][:n]
			for i, g := range d.gain[:n] {
				x[i] *= g
				mix[i] += x[i]
			}
		}
		if k == d.calloutBus {
			samples.Scrub(d.buses[k][0][:n], d.buses[k][0][:n])
			samples.Scrub(d.buses[k][1][:n], d.buses[k][1][:n])
			for i := range d.callMono[:n] {
				d.callMono[i] = 0.5 * (d.buses[k][0][i] + d.buses[k][1][i])
			}
		}
	}
	samples.Scrub(l, l)
	samples.Scrub(r, r)
	view := [2][]float64{l, r}
	d.loud.write(view[:])
	d.machine.write(l, r)
	d.clips.write(0, l)
	d.clips.write(1, r)
	for i := range d.mono[:n] {
		d.mono[i] = 0.5 * (l[i] + r[i])
	}
	d.ear.write(d.callMono[:n], d.mono[:n])
	if d.ear.atStep() {
		d.ear.mark(d.spoken())
	}
}

// spoken says what callout sounds in the middle of the step just played.
func (d *desk) spoken() mark {
	m := mark{lap: d.cur, which: -1}
	if !d.cur.scene() {
		return m
	}
	m.which, m.speaks = d.cur.calloutAt(d.cur.pos() - int64(d.ear.step/2))
	if m.which >= 0 && d.calloutBus >= 0 {
		m.gainDB = samples.AmplitudeDB(d.faders[d.calloutBus].v) - d.depths[d.calloutBus].duckDB
		if d.cur.plan != nil && d.planned.to == 1 {
			m.gainDB += d.cur.callouts[m.which].plannedTrimDB + d.cur.plan.BusGainDB
		}
	}
	return m
}

// room takes the sum to the headphones: match, cabinet, hall, volume, limiter.
func (d *desk) room(n int, out [][2]float64) {
	l, r := d.mix[0][:n], d.mix[1][:n]
	for i, m := range d.match[:n] {
		l[i] *= m
		r[i] *= m
	}
	through := d.gain[:n] // share of the cabinet
	off := d.cab.off()
	d.cab.fill(through)
	if !off {
		x := d.mono[:n]
		for i := range x {
			x[i] = 0.5 * (l[i] + r[i])
		}
		d.cabinet.process(x)
		for i, z := range through {
			l[i] += z * (x[i] - l[i])
			r[i] += z * (x[i] - r[i])
		}
	}
	hall := d.other[:n]
	off = d.hall.off()
	d.hall.fill(hall)
	if !off {
		for c, x := range [2][]float64{l, r} {
			d.noise[c].Read(d.mono[:n])
			for i, v := range d.mono[:n] {
				x[i] += hall[i] * d.match[i] * (d.hallFlat + through[i]*(1-d.hallFlat)) * v
			}
		}
	}
	d.start.fill(hall)
	d.volume.fill(through)
	for i := range l {
		g := hall[i] * through[i]
		l[i] *= g
		r[i] *= g
	}
	d.limit.process(l, r)
	d.output.write(l, r)
	for i := range out {
		out[i] = [2]float64{l[i], r[i]}
	}
}

// ticks reads the meters ten times a second.
func (d *desk) ticks() {
	d.hold = max(d.hold, d.machine.now)
	if d.frame%d.tickFrames == 0 {
		d.loud.tick()
		d.machine.tick()
		d.output.tick()
	}
}

// gain is what a fader lets through.
func (f fader) gain(solo bool) float64 {
	if f.mute || solo && !f.solo || f.db <= LowestFaderDB {
		return 0
	}
	return samples.DBAmplitude(f.db)
}
