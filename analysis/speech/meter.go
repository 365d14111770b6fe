package speech

import (
	"fmt"
	"math"

	"tachbench/samples"
)

// Constants of P.56 method B (from memory, see the package text).
const (
	timeConstantS = 0.03
	hangoverS     = 0.2
	marginDB      = 15.9
)

// Thresholds are the powers of two from 2^lowest up, count of them. P.56 has 15
// for 16-bit samples; nine more reach down to the last bit of 24.
const (
	lowest = -24
	count  = 24
)

// Range of what can be measured.
const (
	MinRateHz = 8000
	MaxRateHz = 192000
)

const tiny = 1e-30 // an envelope under it is set to 0, well before denormal numbers

// Meter measures one channel, or the fold-down of several. Memory is constant.
type Meter struct {
	rateHz   int
	g        float64 // coefficient of both averages
	hangover int64   // samples
	p, q     float64 // first and second average

	n     int64
	sum2  float64
	above int          // thresholds at or under the envelope
	since [count]int64 // sample at which the envelope last crossed threshold j
	time  [count]int64 // active samples of threshold j up to there
	never [count]bool  // true until the envelope reaches threshold j

	pauses   pauses
	unusable int64
}

// New returns a meter for one channel.
func New(rateHz int) (*Meter, error) {
	if rateHz < MinRateHz || rateHz > MaxRateHz {
		return nil, fmt.Errorf("speech: sample rate %d Hz; can be %d to %d Hz", rateHz, MinRateHz, MaxRateHz)
	}
	m := &Meter{
		rateHz:   rateHz,
		g:        math.Exp(-1 / (float64(rateHz) * timeConstantS)),
		hangover: int64(math.Round(float64(rateHz) * hangoverS)),
		pauses:   newPauses(rateHz),
	}
	for j := range m.never {
		m.never[j] = true
	}
	return m, nil
}

// Write takes in the next samples. They are not kept and not changed. NaN,
// infinities and magnitudes over samples.MaxMagnitude count as 0 and are
// counted.
func (m *Meter) Write(x []float64) {
	g, h, p, q := m.g, 1-m.g, m.p, m.q
	for _, v := range x {
		if !samples.Usable(v) {
			m.unusable++
			v = 0
		}
		m.sum2 += v * v
		m.pauses.add(v)
		p = g*p + h*math.Abs(v)
		q = g*q + h*p
		if p < tiny {
			p = 0
			if q < tiny {
				q = 0
			}
		}
		if k := reached(q); k != m.above {
			m.cross(k)
		}
		m.n++
	}
	m.p, m.q = p, q
}

// reached returns how many thresholds are at or under q.
func reached(q float64) int {
	// The exponent of a float64 is the power of two at or under it.
	e := int(math.Float64bits(q)>>52&0x7FF) - 1023
	return max(0, min(count, e-lowest+1))
}

// cross closes the stretch that ends now for every threshold the envelope has
// passed since the last sample.
func (m *Meter) cross(k int) {
	for j := m.above; j < k; j++ { // risen over
		m.time[j] += m.hung(j)
		m.since[j] = m.n
		m.never[j] = false
	}
	for j := k; j < m.above; j++ { // fallen under
		m.time[j] += m.n - m.since[j]
		m.since[j] = m.n
	}
	m.above = k
}

// hung is the hangover used so far under threshold j.
func (m *Meter) hung(j int) int64 {
	if m.never[j] {
		return 0
	}
	return min(m.n-m.since[j], m.hangover)
}

// active returns the active samples of threshold j up to now.
func (m *Meter) active(j int) int64 {
	if j < m.above {
		return m.time[j] + m.n - m.since[j]
	}
	return m.time[j] + m.hung(j)
}
