package revs

import "math"

// gridS is the internal step: 0.5 ms. It is a whole number of ticks.
const (
	tickHz    = 1e9 // caller time is rounded to nanoseconds
	gridTicks = 500_000
	gridS     = gridTicks / tickHz
)

// IdleLoad is the load reported at a steady idle: the light charge that
// just carries friction.
const IdleLoad = 0.2

// loadSmoothS smooths the reported load, so that a limiter's cut is a quick
// fade and not a step (common practice, no source).
const loadSmoothS = 0.015

// maxStepS bounds the time one call may ask for: one hour.
const maxStepS = 3600

// Model is an engine in motion. It is not safe for concurrent use.
type Model struct {
	tune tuning
	seed uint64

	lagGain, loadGain float64
	idleShare         float64 // torque at idle as a share of full torque

	timeS, timeErr float64 // compensated sum of the caller's time
	grid           int64   // index of cur
	prev, cur      point   // states at grid-1 and grid

	lever    float64
	throttle float64 // lever after the lag
	gov      governor
	lim      limiter
	hunt     wander
	governed bool // false in bare tests of the physics
}

type point struct{ w, load float64 }

// State is a look inside a Model.
type State struct {
	TimeS    float64 // time since New or Reset
	RPM      float64
	Load     float64 // 0..1
	Lever    float64 // last lever, 0..1
	Throttle float64 // the lever after its lag, 0..1
	Limiting bool    // the limiter is cutting, or giving torque back
}

// New builds a model that idles. seed picks the hunting of the idle.
func New(spec Spec, seed uint64) (*Model, error) {
	t, err := spec.tuning()
	if err != nil {
		return nil, err
	}
	if err := calibrate(&t, spec); err != nil {
		return nil, err
	}
	return newModel(t, seed), nil
}

func newModel(t tuning, seed uint64) *Model {
	m := &Model{tune: t, seed: seed, governed: true}
	m.Reset()
	return m
}

// Reset puts the model back to the start: the same idle as after New.
func (m *Model) Reset() {
	t := &m.tune
	*m = Model{tune: m.tune, seed: m.seed, governed: m.governed}
	m.lagGain, m.loadGain = 1, 1-math.Exp(-gridS/loadSmoothS)
	if t.lagS > 0 {
		m.lagGain = 1 - math.Exp(-gridS/t.lagS)
	}
	m.idleShare = min(t.physics.friction(t.idleW)/t.physics.FullTorqueNM, 0.9)
	m.gov = newGovernor(&t.physics, t.idleW, t.settleS)
	m.lim = newLimiter(t)
	m.hunt = newWander(m.seed)
	value, _ := m.hunt.step()
	m.cur = point{w: t.idleW + t.wanderW*value, load: IdleLoad}
	m.prev = m.cur
}

// Physics returns the constants in use, after rise_s and fall_s were solved.
func (m *Model) Physics() Physics { return m.tune.physics }

// Step holds the lever for dtS seconds and returns revs and load at the end
// of them.
//
// The lever is 0 (shut) .. 1 (full); values outside are clamped, NaN keeps
// the last one. It is read at the grid points (every 0.5 ms) that the time
// span contains, so a change acts within half a millisecond. A negative or
// NaN dtS counts as 0, one above an hour as an hour. Revs and load between
// grid points are interpolated; the result at a given time does not depend
// on the steps taken to reach it as long as the lever was the same.
func (m *Model) Step(dtS, lever float64) (rpm, load float64) {
	switch {
	case lever >= 1:
		m.lever = 1
	case lever >= 0:
		m.lever = lever
	case lever < 0:
		m.lever = 0
	}
	if dtS > 0 {
		m.addTime(min(dtS, maxStepS))
	}
	ticks := int64(math.Round((m.timeS + m.timeErr) * tickHz))
	for m.grid*gridTicks < ticks {
		m.prev = m.cur
		m.advance()
		m.grid++
	}
	// ticks now lies in (grid-1, grid].
	frac := 1 - float64(m.grid*gridTicks-ticks)/gridTicks
	w := m.prev.w + frac*(m.cur.w-m.prev.w)
	return toRPM(w), m.prev.load + frac*(m.cur.load-m.prev.load)
}

// addTime is Neumaier's sum: the rounding of millions of small steps must
// not move the clock by a tick.
func (m *Model) addTime(dt float64) {
	t := m.timeS + dt
	if m.timeS >= dt {
		m.timeErr += (m.timeS - t) + dt
	} else {
		m.timeErr += (dt - t) + m.timeS
	}
	m.timeS = t
}

// State returns the present state without moving it.
func (m *Model) State() State {
	rpm, load := m.Step(0, math.NaN())
	return State{
		TimeS: m.timeS + m.timeErr, RPM: rpm, Load: load, Lever: m.lever, Throttle: m.throttle,
		Limiting: m.lim.state != limiterFree,
	}
}

// advance moves cur by one grid step.
func (m *Model) advance() {
	t := &m.tune
	p := &t.physics
	w := m.cur.w
	m.throttle += m.lagGain * (m.lever - m.throttle)

	var value, slope float64
	if t.wanderW > 0 {
		value, slope = m.hunt.step()
		value, slope = value*t.wanderW, slope*t.wanderW
	}
	wanted := p.FullTorqueNM * filling(m.throttle, w/t.redW)
	// At part lever the charge wavers too; at full lever and on the overrun
	// nothing does.
	wanted += min(1, 4*m.throttle*(1-m.throttle)) * p.InertiaKGM2 * slope
	if m.governed {
		wanted += m.gov.step(p, w, t.idleW+value, slope, m.lever == 0 && m.throttle < 0.02)
	}
	wanted = min(max(wanted, 0), max(p.FullTorqueNM, m.gov.maxNM))
	torque := m.lim.step(p, w, wanted)
	m.cur.w = p.advance(w, torque, gridS)
	m.cur.load += m.loadGain * (m.loadOf(torque/p.FullTorqueNM) - m.cur.load)
}

// loadOf maps the share of full torque to the load that is reported: nothing
// is 0, what idle needs is IdleLoad, full is 1, straight in between.
func (m *Model) loadOf(share float64) float64 {
	if share < m.idleShare {
		return IdleLoad * share / m.idleShare
	}
	return min(1, IdleLoad+(1-IdleLoad)*(share-m.idleShare)/(1-m.idleShare))
}
