package standin

import "math"

// place is where a microphone stands.
type place int

const (
	between place = iota
	exhaustSide
	intakeSide
)

func placesFor(channels int) []place {
	if channels == 1 {
		return []place{between}
	}
	p := make([]place, channels)
	for c := range p {
		p[c] = exhaustSide + place(c%2)
	}
	return p
}

// path is one way from a source to a microphone.
type path struct {
	gain   float64
	delayS float64
	hz     float64 // air and surfaces take the highs above this; 0 = none
}

// paths are the ways in a yard: straight, by the ground, and by two walls,
// for exhaust, intake and block (common practice, no source).
var paths = map[place][3][]path{
	between: {
		{{1, 0, 0}, {0.22, 0.0031, 3500}, {0.10, 0.0174, 2500}, {0.07, 0.0293, 1800}},
		{{0.8, 0.0008, 0}, {0.10, 0.0152, 2500}},
		{{0.8, 0.0005, 0}, {0.09, 0.0139, 3000}},
	},
	exhaustSide: {
		{{1, 0, 0}, {0.22, 0.0027, 3500}, {0.11, 0.0161, 2500}, {0.06, 0.0331, 1800}},
		{{0.45, 0.0019, 4500}, {0.09, 0.0187, 2500}},
		{{0.6, 0.0011, 6000}, {0.08, 0.0149, 3000}},
	},
	intakeSide: {
		{{0.72, 0.0021, 3800}, {0.20, 0.0049, 3000}, {0.12, 0.0203, 2500}, {0.07, 0.0281, 1800}},
		{{1.1, 0, 0}, {0.11, 0.0128, 2500}},
		{{1, 0.0004, 0}, {0.09, 0.0117, 3000}},
	},
}

// microphone mixes the three sources along their paths and takes out what
// is not sound: below 16 Hz and DC.
type microphone struct {
	gain   float64
	source [3]echo
	dc     [2]onePole
}

// echo is one source's past and its taps.
type echo struct {
	past []float64
	at   int
	taps []tap
}

type tap struct {
	gain  float64
	delay int
	air   onePole
	dull  bool
}

const dcCornerHz = 16

func newMicrophone(p place, rate, gain float64) microphone {
	m := microphone{gain: gain, dc: [2]onePole{lowPass(dcCornerHz, rate), lowPass(dcCornerHz, rate)}}
	for i, ways := range paths[p] {
		e := &m.source[i]
		longest := 0
		for _, w := range ways {
			t := tap{gain: w.gain, delay: int(math.Round(w.delayS * rate))}
			if w.hz > 0 {
				t.dull, t.air = true, lowPass(w.hz, rate)
			}
			longest = max(longest, t.delay)
			e.taps = append(e.taps, t)
		}
		size := 1
		for size <= longest {
			size *= 2
		}
		e.past = make([]float64, size)
	}
	return m
}

func (m *microphone) step(exhaust, intake, block float64) float64 {
	y := m.source[0].step(exhaust) + m.source[1].step(intake) + m.source[2].step(block)
	y -= m.dc[0].step(y)
	y -= m.dc[1].step(y)
	return y * m.gain
}

func (e *echo) step(x float64) float64 {
	mask := len(e.past) - 1
	e.at = (e.at + 1) & mask
	e.past[e.at] = x
	y := 0.0
	for i := range e.taps {
		t := &e.taps[i]
		v := e.past[(e.at-t.delay)&mask]
		if t.dull {
			v = t.air.step(v)
		}
		y += t.gain * v
	}
	return y
}
