package standin

import "math"

// gamma is a bank of pulses t²·exp(−t/τ) of one time constant: overlapping
// pulses share three numbers. A pulse may start between two samples. Its
// smooth start keeps it band-limited: at 24 kHz the spectrum of a pulse with
// τ = 0.1 ms is 70 dB under its low end.
type gamma struct {
	tau, decay, norm float64 // samples; per sample; unit area
	x0, x1, x2       float64
}

func newGamma(tauSamples float64) gamma {
	var g gamma
	g.setTau(tauSamples)
	return g
}

// rest drops what has died away, before it becomes too small for the
// processor to be quick with.
func (g *gamma) rest() {
	if g.x0 < 1e-30 {
		g.x0, g.x1, g.x2 = 0, 0, 0
	}
}

// setTau changes the time constant. Pulses on their way keep their present
// value and go on with the new one.
func (g *gamma) setTau(tau float64) {
	if g.x0 != 0 {
		s := tau / g.tau
		g.x0 *= s
		g.x1 *= s * s
		g.x2 *= s * s * s
	}
	g.tau, g.decay = tau, math.Exp(-1/tau)
	g.norm = 1 / (2 * tau * tau * tau)
}

// kick starts a pulse of the given area, age samples ago.
func (g *gamma) kick(area, age float64) {
	a := area * math.Exp(-age/g.tau)
	g.x0 += a
	g.x1 += a * age
	g.x2 += a * age * age
}

// step returns the present value and moves on by one sample.
func (g *gamma) step() float64 {
	y := g.x2 * g.norm
	g.x2 = g.decay * (g.x2 + 2*g.x1 + g.x0)
	g.x1 = g.decay * (g.x1 + g.x0)
	g.x0 *= g.decay
	return y
}

// eventKind is something that happens once a cycle in each cylinder.
type eventKind int

const (
	exhaustOpens eventKind = iota
	intakeOpens
	burns
	slaps
	valveSeats
)

// atDegrees is where the events sit, in crank degrees after the firing dead
// centre, for two and four strokes (common practice, no source; a two-stroke
// has no valves).
var atDegrees = map[int][][2]float64{
	4: {{float64(exhaustOpens), 132}, {float64(intakeOpens), 352}, {float64(burns), 9}, {float64(slaps), 22}, {float64(valveSeats), 375}, {float64(valveSeats), 590}},
	2: {{float64(exhaustOpens), 94}, {float64(intakeOpens), 205}, {float64(burns), 8}, {float64(slaps), 20}},
}

// event is the next occurrence of one kind in one cylinder.
type event struct {
	kind     eventKind
	cylinder int
	base     float64 // engine cycles, without jitter
	phase    float64 // with it
}

// oddity is the fixed character of cylinder i: its strength and timing
// relative to its neighbours, -1..1, the same in every recording.
func oddity(i int) (strength, timing float64) {
	return math.Cos(2.399963*float64(i) + 0.6), math.Sin(1.7*float64(i) + 2.1)
}

// calendar keeps events in order of phase.
type calendar []event

func newCalendar(s *Spec, startCycles float64) calendar {
	var c calendar
	cycle := s.Layout.CycleDegrees()
	for cyl, angle := range s.Layout.Angles() {
		for _, k := range atDegrees[s.Layout.Strokes] {
			e := event{kind: eventKind(k[0]), cylinder: cyl}
			at := (angle + k[1]) / cycle
			e.base = at + math.Ceil(startCycles-at)
			e.phase = e.base
			c = append(c, e)
			c.settle(len(c) - 1)
		}
	}
	return c
}

// settle moves entry i to its place; all others are in order.
func (c calendar) settle(i int) {
	for ; i > 0 && c[i-1].phase > c[i].phase; i-- {
		c[i-1], c[i] = c[i], c[i-1]
	}
	for ; i+1 < len(c) && c[i+1].phase < c[i].phase; i++ {
		c[i+1], c[i] = c[i], c[i+1]
	}
}
