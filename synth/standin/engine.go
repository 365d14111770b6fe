package standin

import (
	"math"

	"tachbench/samples"
)

// engine is a running engine: the state behind the sample loop in step.
type engine struct {
	spec *Spec
	rate float64
	d    dice
	cal  calendar

	phase          float64 // engine cycles at the present sample
	perSample      float64 // engine cycles a sample
	load, revs     float64 // 0..1; 0 idle .. 1 redline
	drift, coupled float64 // slow memory of the combustion

	// Exhaust: three pulse shapes that share a blowdown, the push of the
	// piston, and the pipe.
	front, edge, body, push gamma
	hiss                    gamma
	exhaust                 *pipe
	portBand, tailBand      band
	tailEnv                 onePole

	// Intake: the gulp, its noise, and a pipe open at one end.
	gulp       gamma
	intakeLine []float64
	intakeAt   int
	intakeEnd  onePole
	intakeBand band
	intakeOut  onePole

	// Block.
	ticks      [6]mode
	tickBurst  gamma
	rattleBand band
	tick       float64
	fanBand    band
	whineTurns float64 // per engine cycle

	g levels
}

// levels are the gains that follow load and revs, renewed every control hop.
type levels struct{ portNoise, tailNoise, intake, intakeNoise, fan, whine float64 }

// strokeSamples returns the time of one stroke at the present revs, in samples.
func (e *engine) strokeSamples() float64 {
	return 1 / (e.perSample * float64(e.spec.Layout.Strokes))
}

func newEngine(s *Spec, rate float64, seed uint64) *engine {
	e := &engine{spec: s, rate: rate, d: newDice(seed)}
	e.phase = e.d.rng.Float64()
	e.cal = newCalendar(s, e.phase)
	e.front = newGamma(0.00006 * rate)
	e.edge = newGamma(0.00018 * rate)
	e.body = newGamma(s.BlowdownS * rate)
	e.hiss = newGamma(1.3 * s.BlowdownS * rate)
	e.push, e.gulp = newGamma(0.003*rate), newGamma(0.003*rate)
	e.exhaust = newPipe(s.Pipe, rate)
	e.portBand = newBand(300, 3200, rate)
	e.tailBand = newBand(400, 2600, rate)
	e.tailEnv = lowPass(400, rate)
	e.intakeLine = make([]float64, max(2, int(math.Round(2*s.IntakeM/soundSpeed(25)*rate))))
	e.intakeEnd = lowPass(2200, rate)
	e.intakeBand = newBand(250, 2500, rate)
	e.intakeOut = lowPass(180, rate)
	for i, m := range [...][3]float64{{610, 0.0022, 1}, {1130, 0.0016, 1.1}, {1790, 0.0012, 1}, {2650, 0.0008, 0.9}, {4100, 0.0005, 0.7}, {6300, 0.0003, 0.5}} {
		e.ticks[i] = newMode(m[0], m[1], m[2], rate)
	}
	e.tickBurst = newGamma(0.0012 * rate)
	e.rattleBand = newBand(1200, 8000, rate)
	e.whineTurns = s.WhineOrder * s.Layout.RevsPerCycle()
	e.fanBand = newBand(200, 1800, rate)
	return e
}

// control sets the motion for the samples until the next call: revs and
// load at this moment, cycles a sample as a mean over the hop.
func (e *engine) control(rpm, load, perSample float64) {
	s := e.spec
	e.perSample, e.load = perSample, load
	e.revs = min(max((rpm-s.IdleRPM)/(s.RedlineRPM-s.IdleRPM), 0), 1.2)
	stroke := e.strokeSamples()
	e.push.setTau(0.22 * stroke)
	e.gulp.setTau(0.20 * stroke)
	for _, g := range [...]*gamma{&e.front, &e.edge, &e.body, &e.push, &e.hiss, &e.gulp, &e.tickBurst} {
		g.rest()
	}
	wide := 0.35 + 0.65*e.revs
	e.g = levels{
		portNoise:   0.55 * s.FlowNoise * (1.25 - 0.25*load),
		tailNoise:   s.FlowNoise * 0.15 * wide,
		intake:      0.10 * (0.12 + 0.88*load) * wide,
		intakeNoise: s.IntakeNoise * 0.075 * (0.10 + 0.90*load) * wide,
		fan:         0.004 * s.Clatter * e.revs * e.revs,
	}
	if hz := s.WhineOrder * perSample * e.rate / s.Layout.RevsPerCycle(); s.Whine > 0 && hz < 0.4*e.rate {
		e.g.whine = 0.0016 * s.Whine * e.revs * (0.4 + 0.6*load) * math.Min(1, 2500/hz)
	}
}

// strength draws how strongly a cylinder fires this time, mean about 1.
func (e *engine) strength(cylinder int) float64 {
	s := e.spec
	overrun := (1 - e.load) * (1 - e.load) * (1 - e.load)
	burning := s.COVLoad + (s.COVIdle-s.COVLoad)*math.Exp(-e.revs/0.12)*(1-0.5*e.load)
	cov := overrun*s.COVOverrun + (1-overrun)*burning
	// A weak cycle leaves charge for the next, and mixture drifts: a little
	// memory of both signs, most of it fresh.
	fresh := e.d.normal()
	e.drift += 0.04 * (e.d.normal()*3.5 - e.drift)
	x := 1 + cov*(0.88*fresh-0.30*e.coupled+0.37*e.drift)
	e.coupled = fresh
	// Now and then a cycle hardly burns at light load.
	if lame := 0.05 * math.Exp(-e.revs/0.1) * (1 - e.load); e.d.rng.Float64() < lame {
		x *= 0.45
	}
	odd, _ := oddity(cylinder)
	return min(max(x, 0.1), 2) * (1 + s.CylinderSpread*odd)
}

// charge is the size of a pulse at the present load and revs.
func (e *engine) charge() float64 {
	return (0.38 + 0.62*math.Pow(e.load, 0.85)) * samples.DBAmplitude(e.spec.RevsDB*(e.revs-1))
}

// popsPerS is how often unburnt charge lights in the pipe on the overrun at
// high revs (by ear).
const popsPerS = 1.6

// happen carries out an event that came age samples ago and books the next.
func (e *engine) happen(age float64) {
	ev := &e.cal[0]
	s := e.spec
	jitterDeg := 0.0
	switch ev.kind {
	case exhaustOpens:
		e.blowdown(ev.cylinder, age)
		jitterDeg = 0.2 + 0.3*math.Exp(-e.revs/0.15)
	case intakeOpens:
		e.gulp.kick(e.strokeSamples()*(1+0.05*e.d.normal()), age)
		jitterDeg = 0.4
	case burns:
		e.strike(0.9*(0.15+0.85*e.load)*math.Abs(1+0.35*e.d.normal()), age)
		jitterDeg = 2
	case slaps:
		e.strike((0.2+0.35*e.load)*math.Abs(1+0.4*e.d.normal()), age)
		jitterDeg = 2.5
	case valveSeats:
		e.strike(0.45*math.Abs(1+0.4*e.d.normal()), age)
		jitterDeg = 1.5
	}
	ev.base++
	cycle := s.Layout.CycleDegrees()
	at := jitterDeg * e.d.normal() / cycle
	if ev.kind == exhaustOpens {
		_, odd := oddity(ev.cylinder)
		at += 10 * s.CylinderSpread * odd / cycle
		if s.RunnerM != nil {
			at += s.RunnerM[ev.cylinder] / soundSpeed(s.Pipe[0].TempC) * e.rate * e.perSample
		}
	}
	ev.phase = max(ev.base+at, e.phase)
	e.cal.settle(0)
}

// blowdown lets one exhaust pulse out. Harder combustion makes a sharper
// front; how the area splits between the shapes varies from pulse to pulse.
func (e *engine) blowdown(cylinder int, age float64) {
	x := e.strength(cylinder)
	area := e.charge() * x
	sharp := e.load * min(max(0.5+0.5*x+0.25*e.d.normal(), 0.1), 2)
	soft := min(max(1+0.12*e.d.normal(), 0.5), 1.5)
	unit := e.rate * 0.001 // areas are in milliseconds of unit flow
	hiss := area * unit * (1 + 0.3*e.d.normal())
	if e.load < 0.08 && e.revs > 0.2 {
		perEvent := popsPerS * e.revs / (e.perSample * e.rate * float64(e.spec.Layout.Cylinders))
		if e.d.rng.Float64() < perEvent {
			pop := 0.15 + 0.35*e.d.rng.Float64()
			area += pop
			hiss += 1.5 * pop * unit
		}
	}
	e.front.kick(0.24*sharp*area*unit, age)
	e.edge.kick((0.20+0.36*sharp)*area*unit, age)
	e.body.kick(0.65*soft*area*unit, age)
	e.push.kick(0.6*area*unit, age)
	e.hiss.kick(hiss, age)
}

// strike hits the block.
func (e *engine) strike(force, age float64) {
	force *= e.spec.Clatter * (0.35 + 0.65*e.revs)
	e.tick += force
	e.tickBurst.kick(force*e.rate*0.001, age)
}
