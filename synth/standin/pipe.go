package standin

import "math"

// pipe is the exhaust as a chain of waveguide segments. In each, two waves
// travel in opposite directions; where the area changes they scatter (the
// Kelly-Lochbaum junction), at the ports they come back mostly upright, at
// the open end inverted.
//
// Segment lengths are rounded to whole samples: at 48 kHz and 480 m/s that
// is a step of 10 mm.
type pipe struct {
	seg  []segment
	k    []float64 // reflection at the junction after segment i
	port onePole   // what the ports give back
	end  onePole   // what the open end gives back
	jet  onePole   // radiation: low frequencies hardly leave a small mouth
	last float64   // flow out of the end, for the flow noise
}

// segment is two delay lines of the same length that share one index.
type segment struct {
	down, up         []float64
	at               int
	lossDown, lossUp onePole
	gain             float64
}

// onePole is y += a·(x − y).
type onePole struct{ a, y float64 }

func lowPass(hz, rate float64) onePole { return onePole{a: 1 - math.Exp(-2*math.Pi*hz/rate)} }

func (f *onePole) step(x float64) float64 {
	f.y += f.a * (x - f.y)
	return f.y
}

const (
	portReflection = 0.62 // closed valves, open ones and branches, on average
	endReflection  = 0.86
	lossPerMetre   = 0.86
	wallLossHz     = 14000 // corner of the loss at the walls, per segment
	woolLossHz     = 2600
	woolGain       = 0.80
	mixingGain     = 0.95 // what eddies take wherever the area changes
)

func newPipe(segs []Segment, rate float64) *pipe {
	p := &pipe{}
	for i, s := range segs {
		n := max(2, int(math.Round(s.LengthM/soundSpeed(s.TempC)*rate)))
		g := segment{down: make([]float64, n), up: make([]float64, n), gain: mixingGain * math.Pow(lossPerMetre, s.LengthM)}
		hz := float64(wallLossHz)
		if s.Packed {
			hz = woolLossHz
			g.gain *= woolGain
		}
		g.lossDown, g.lossUp = lowPass(hz, rate), lowPass(hz, rate)
		p.seg = append(p.seg, g)
		if i > 0 {
			a, b := segs[i-1].AreaCM2, s.AreaCM2
			p.k = append(p.k, (a-b)/(a+b))
		}
	}
	last := segs[len(segs)-1]
	radiusM := math.Sqrt(last.AreaCM2 * 1e-4 / math.Pi)
	// An open end stops reflecting, and starts radiating, around ka = 1.
	ka1 := soundSpeed(last.TempC) / (2 * math.Pi * radiusM)
	p.end = lowPass(min(ka1, 0.45*rate), rate)
	p.jet = lowPass(radiationHz, rate)
	p.port = lowPass(3500, rate)
	return p
}

// radiationHz is the corner of the radiation high-pass. A mouth of 2 cm
// radiates as the derivative of its flow up to some kilohertz; the corner is
// set lower, since a microphone near the machine also catches the near
// field and the shell of the silencer, which are not thin (by ear).
const radiationHz = 230

// step takes the flow into the ports and returns the pressure outside the
// mouth.
func (p *pipe) step(flow float64) float64 {
	// Arrivals at both ends of each segment, before anything is written.
	n := len(p.seg)
	first := &p.seg[0]
	back := first.lossUp.step(first.up[first.at]) * first.gain
	in := flow + portReflection*p.port.step(back)
	for i := 0; i < n; i++ {
		s := &p.seg[i]
		right := s.lossDown.step(s.down[s.at]) * s.gain // arrives at the far end
		s.down[s.at] = in
		if i+1 < n {
			next := &p.seg[i+1]
			left := next.lossUp.step(next.up[next.at]) * next.gain // arrives from behind
			k := p.k[i]
			d := k * (right - left)
			s.up[s.at] = left + d
			in = right + d
		} else {
			mirror := -endReflection * p.end.step(right)
			s.up[s.at] = mirror
			p.last = right - mirror
		}
		if s.at++; s.at == len(s.down) {
			s.at = 0
		}
	}
	return p.last - p.jet.step(p.last)
}
