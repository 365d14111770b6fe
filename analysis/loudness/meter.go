package loudness

import (
	"fmt"

	"tachbench/samples"
)

// Range of what can be measured.
const (
	MinRateHz   = 8000
	MaxRateHz   = 192000
	MaxChannels = 16
)

const (
	stepsPerSecond = 100                          // 10 ms
	stepsPerTenth  = 10                           // 100 ms, the step of gating blocks and loudness range
	momentaryTenth = 4                            // 0.4 s
	shortTermTenth = 30                           // 3 s
	ringLen        = 10 * shortTermTenth          // 10 ms steps in 3 s
	offsetLU       = 0.691                        // BS.1770-5 Annex 1 eq. (2)
	maxChunk       = MaxRateHz/stepsPerSecond + 1 // frames between two steps, at most
)

// Meter measures one stream of sound. Make one with New for each stream.
type Meter struct {
	rateHz int
	w      weighting
	gain   []float64 // one per channel; 0 = left out
	chans  []state
	active []int // channels with gain > 0, in order

	frames int64 // frames taken in
	step   int64 // steps of the grid completed
	next   int64 // frame at which the next step completes

	fine    [stepsPerTenth]float64 // energies of the last ten 10 ms steps
	tenth   [ringLen]float64       // by step: energy of the 100 ms that end there
	history []float64              // energy of each whole 100 ms

	momentary, shortTerm maximum

	unusable int64
	scratch  [2][]float64 // scrubbed samples; made when first needed
}

// maximum is the largest mean power so far and the step at which it ended.
type maximum struct {
	power float64
	step  int64
}

// New returns a meter for a stream. mask holds the speaker positions
// (WAVE_FORMAT_EXTENSIBLE bits, 0 unknown); see Weights.
func New(rateHz, channels int, mask uint32) (*Meter, error) {
	if rateHz < MinRateHz || rateHz > MaxRateHz {
		return nil, fmt.Errorf("loudness: sample rate %d Hz; can be %d to %d Hz", rateHz, MinRateHz, MaxRateHz)
	}
	if channels < 1 || channels > MaxChannels {
		return nil, fmt.Errorf("loudness: %d channels; can be 1 to %d", channels, MaxChannels)
	}
	m := &Meter{
		rateHz: rateHz,
		w:      newWeighting(float64(rateHz)),
		gain:   Weights(channels, mask),
		chans:  make([]state, channels),
	}
	for c, g := range m.gain {
		if g > 0 {
			m.active = append(m.active, c)
		}
	}
	m.next = m.frameOf(1)
	return m, nil
}

// frameOf returns the frame at which step k ends, k·10 ms to the nearest frame.
func (m *Meter) frameOf(k int64) int64 {
	return (k*int64(m.rateHz) + stepsPerSecond/2) / stepsPerSecond
}

// Write takes in the next frames: one slice per channel, all of equal length.
// The block is not kept and not changed. It panics when the shape is wrong.
func (m *Meter) Write(block [][]float64) {
	if len(block) != len(m.chans) {
		panic(fmt.Sprintf("loudness: block of %d channels for a meter of %d", len(block), len(m.chans)))
	}
	n := len(block[0])
	for _, ch := range block {
		if len(ch) != n {
			panic("loudness: channels of a block differ in length")
		}
	}
	for from := 0; from < n; {
		to := min(n, from+int(m.next-m.frames))
		m.weigh(block, from, to)
		m.frames += int64(to - from)
		from = to
		if m.frames == m.next {
			m.complete()
		}
	}
}

// weigh runs frames from..to of all counted channels through the filter. They
// lie within one step.
func (m *Meter) weigh(block [][]float64, from, to int) {
	for c, g := range m.gain {
		if g == 0 {
			m.clean(0, block[c][from:to]) // only to count
		}
	}
	i := 0
	for ; i+1 < len(m.active); i += 2 {
		a, b := m.active[i], m.active[i+1]
		m.w.two(&m.chans[a], &m.chans[b], m.clean(0, block[a][from:to]), m.clean(1, block[b][from:to]))
	}
	if i < len(m.active) {
		a := m.active[i]
		m.w.one(&m.chans[a], m.clean(0, block[a][from:to]))
	}
}

// clean returns x, or a scrubbed copy if there is a sample that no filter
// should see.
func (m *Meter) clean(slot int, x []float64) []float64 {
	if samples.FirstUnusable(x) < 0 {
		return x
	}
	if m.scratch[slot] == nil {
		m.scratch[slot] = make([]float64, maxChunk)
	}
	out := m.scratch[slot][:len(x)]
	m.unusable += int64(samples.Scrub(out, x))
	return out
}

// complete ends a step of the grid. All sums are taken anew from energies, none
// is carried on by adding and subtracting, so nothing is lost when a quiet
// passage follows a loud one.
func (m *Meter) complete() {
	m.step++
	m.next = m.frameOf(m.step + 1)
	var e float64
	for c, g := range m.gain {
		e += g * m.chans[c].energy
		m.chans[c].settle()
	}
	m.fine[m.step%stepsPerTenth] = e
	var sum float64
	for _, f := range m.fine {
		sum += f
	}
	m.tenth[m.step%ringLen] = sum
	if m.step%stepsPerTenth == 0 {
		m.history = append(m.history, sum)
	}
	m.momentary.see(m, momentaryTenth)
	m.shortTerm.see(m, shortTermTenth)
}

// see looks at the window of so many tenths of a second that ends at the
// current step.
func (x *maximum) see(m *Meter, tenths int) {
	length := int64(tenths * stepsPerTenth)
	if m.step < length {
		return
	}
	var sum float64
	at := int(m.step % ringLen)
	for range tenths {
		sum += m.tenth[at]
		if at -= stepsPerTenth; at < 0 {
			at += ringLen
		}
	}
	power := sum / float64(m.frameOf(m.step)-m.frameOf(m.step-length))
	if x.step == 0 || power > x.power {
		x.power, x.step = power, m.step
	}
}
