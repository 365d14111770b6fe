package standin

import "math"

// step runs one sample and returns the sound at the mouth of the exhaust,
// at the intake and from the block. This is the hot loop.
func (e *engine) step() (exhaust, intake, block float64) {
	e.phase += e.perSample
	for e.cal[0].phase <= e.phase {
		e.happen((e.phase - e.cal[0].phase) / e.perSample)
	}
	n1, n2 := e.d.pair()
	n3, n4 := e.d.pair()

	flow := e.front.step() + e.edge.step() + e.body.step() + e.push.step()
	flow += e.g.portNoise * e.hiss.step() * e.portBand.step(n1)
	exhaust = e.exhaust.step(flow)
	speed := e.tailEnv.step(math.Abs(e.exhaust.last))
	exhaust += e.g.tailNoise * speed * e.tailBand.step(n2)

	gulp := e.gulp.step()
	draw := e.g.intakeNoise*gulp*e.intakeBand.step(n3) - e.g.intake*gulp
	back := e.intakeEnd.step(e.intakeLine[e.intakeAt])
	draw -= 0.68 * back
	e.intakeLine[e.intakeAt] = draw
	if e.intakeAt++; e.intakeAt == len(e.intakeLine) {
		e.intakeAt = 0
	}
	intake = draw - e.intakeOut.step(draw)

	hit := e.tick
	e.tick = 0
	hit += 0.5 * e.tickBurst.step() * e.rattleBand.step(n4)
	for i := range e.ticks {
		block += e.ticks[i].step(hit)
	}
	block *= tickLevel
	block += e.g.fan * e.fanBand.step(n2)
	if e.g.whine > 0 {
		turn := e.phase * e.whineTurns
		block += e.g.whine * math.Sin(2*math.Pi*(turn-math.Floor(turn)))
	}
	return exhaust, intake, block
}

// tickLevel sets the block against the exhaust (by ear).
const tickLevel = 0.018
