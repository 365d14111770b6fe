package listen

import (
	"tachbench/samples"
)

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
			l[i] = (1-z)*l[i] + z*x[i]
			r[i] = (1-z)*r[i] + z*x[i]
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
