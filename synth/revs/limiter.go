package revs

// limiter cuts torque at the redline and gives it back below it, at a
// steady rate: the cut lasts until revs have dropped far enough, and the
// torque that is given back is sized so that they return on the beat.
type limiter struct {
	cutW, restoreW float64 // rad/s
	periodS        float64
	state          limiterState
	sinceS         float64 // since the cut
	backW          float64 // how fast revs come back, rad/s²
}

type limiterState int

const (
	limiterFree limiterState = iota
	limiterCut
	limiterBack
)

// newLimiter reduces the drop to what friction and torque can do within one
// period; a heavy flywheel cannot fall and rise 300 RPM in a tenth of a
// second.
func newLimiter(t *tuning) limiter {
	p := &t.physics
	period := 1 / t.limiterRate
	down := p.friction(t.redW)
	up := p.FullTorqueNM - down
	drop := t.limiterDropW
	if down > 0 && up > 0 {
		drop = min(drop, 0.8*period/p.InertiaKGM2/(1/down+1/up))
	}
	return limiter{cutW: t.redW, restoreW: t.redW - drop, periodS: period}
}

// step returns the torque that the limiter lets through in one grid step.
func (l *limiter) step(p *Physics, w, wanted float64) float64 {
	l.sinceS += gridS
	switch {
	case w >= l.cutW && l.state != limiterCut:
		l.state, l.sinceS = limiterCut, 0
	case l.state == limiterCut && (w <= l.restoreW || l.sinceS > 0.75*l.periodS):
		l.state = limiterBack
		rest := max(l.periodS-l.sinceS, 0.1*l.periodS)
		l.backW = (l.cutW - w) / rest
	case l.state == limiterBack && (wanted < l.give(p, w) && w < l.restoreW || l.sinceS > 2*l.periodS):
		l.state = limiterFree
	}
	switch l.state {
	case limiterCut:
		return 0
	case limiterBack:
		return min(wanted, l.give(p, w))
	}
	return wanted
}

// give is the torque that brings revs back on the beat.
func (l *limiter) give(p *Physics, w float64) float64 {
	return p.friction(w) + p.InertiaKGM2*l.backW
}
