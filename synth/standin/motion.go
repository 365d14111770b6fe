package standin

import (
	"math"

	"tachbench/samples/crank"
)

const (
	controlS  = 0.0005 // revs and load are asked for this often
	trackHopS = 0.005

	// What the caller's functions return is held within these revs.
	minRPM, maxRPM = 60, 40000
)

// motion turns the caller's functions into control points and remembers
// the crank phase.
type motion struct {
	layout      crank.Layout
	rpmAt       func(float64) float64
	loadAt      func(float64) float64
	rate        float64
	hop         int
	rpm, load   float64   // at the last point asked for
	revs, phase []float64 // at every hop from time 0 on
	endPhase    float64   // where the last hop ends
}

func newMotion(s *Spec, rpm, load func(float64) float64, rate float64) *motion {
	m := &motion{layout: s.Layout, rpmAt: rpm, loadAt: load, rate: rate, hop: max(1, int(math.Round(controlS*rate)))}
	m.rpm, m.load = s.IdleRPM, 0
	m.ask(0)
	return m
}

// ask reads both functions at tS; NaN keeps what was.
func (m *motion) ask(tS float64) {
	if v := m.rpmAt(tS); !math.IsNaN(v) {
		m.rpm = min(max(v, minRPM), maxRPM)
	}
	if v := m.loadAt(tS); !math.IsNaN(v) {
		m.load = min(max(v, 0), 1)
	}
}

// due says whether sample n begins a hop. Before time 0 the engine holds.
func (m *motion) due(n int) bool { return n >= 0 && n%m.hop == 0 }

// next hands the engine its motion for the hop that begins at sample n.
func (m *motion) next(n int, e *engine) {
	rpm, load := m.rpm, m.load
	if n >= 0 {
		m.ask(float64(n+m.hop) / m.rate)
	}
	perSample := m.layout.CycleHz(0.5*(rpm+m.rpm)) / m.rate
	e.control(rpm, load, perSample)
	if n >= 0 {
		m.revs = append(m.revs, rpm)
		m.phase = append(m.phase, e.phase+perSample)
		m.endPhase = e.phase + perSample*float64(m.hop+1)
	}
}

// track returns the truth from 0 to seconds.
func (m *motion) track(seconds float64) *crank.Track {
	n := int(math.Floor(seconds/trackHopS+1e-9)) + 1
	t := &crank.Track{HopS: trackHopS, RPM: make([]float64, n), Confidence: make([]float64, n), Phase: make([]float64, n)}
	revs, phase := append(m.revs, m.rpm), append(m.phase, m.endPhase)
	last := len(revs) - 1
	for i := range n {
		t.Confidence[i] = 1
		x := t.TimeS(i) * m.rate / float64(m.hop)
		k := min(int(x), max(last-1, 0))
		if last < 1 { // not one hop was run: the engine holds
			t.RPM[i] = m.rpm
			continue
		}
		f := min(x-float64(k), 1)
		t.RPM[i] = revs[k] + f*(revs[k+1]-revs[k])
		t.Phase[i] = phase[k] + f*(phase[k+1]-phase[k])
	}
	return t
}
