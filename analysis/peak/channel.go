package peak

import (
	"math"

	"tachbench/samples"
)

const (
	chunk   = 1024       // samples worked on at a time
	history = 2 * stride // samples kept from before the chunk

)

// Channel holds what was measured of one channel. Amplitudes are linear, full
// scale ±1.
type Channel struct {
	Frames          int64
	SamplePeak      float64 // largest magnitude of a sample
	SamplePeakFrame int64   // its first place; -1 if the channel is silent
	TruePeak        float64 // never below SamplePeak
	TruePeakFrame   float64 // its first place, in quarters of a frame; -1 if silent. Can lie just outside the sound
	DC              float64 // mean
	RMS             float64 // about zero, DC included
	Unusable        int64   // samples counted as 0, see samples.Usable
}

// SamplePeakDBFS is the sample peak re amplitude 1; false if silent.
func (c Channel) SamplePeakDBFS() (float64, bool) {
	return samples.AmplitudeDB(c.SamplePeak), c.SamplePeak > 0
}

// TruePeakDBTP is the true peak; false if silent.
func (c Channel) TruePeakDBTP() (float64, bool) {
	return samples.AmplitudeDB(c.TruePeak), c.TruePeak > 0
}

// CrestDB is sample peak over RMS; false if silent.
func (c Channel) CrestDB() (float64, bool) {
	if c.RMS <= 0 {
		return math.NaN(), false
	}
	return samples.AmplitudeDB(c.SamplePeak / c.RMS), true
}

// meterOne is the running state of one channel.
type meterOne struct {
	buf  [history + chunk]float64            // the past, then the chunk being filled
	tops [(history + chunk) / stride]float64 // largest magnitude of every 8 of buf
	fill int                                 // samples in the chunk
	done int64                               // frames before the chunk

	sum, sum2 float64
	peak      float64
	peakAt    int64
	truePeak  float64 // of interpolated values and samples together
	trueAt    float64
	unusable  int64
	all       bool  // no pruning, for the proof
	looked    int64 // blocks looked into, for the proof and the benchmark
}

func (m *meterOne) write(x []float64) {
	for len(x) > 0 {
		n := copy(m.buf[history+m.fill:], x)
		x = x[n:]
		m.fill += n
		if m.fill == chunk {
			m.work()
		}
	}
}

// work takes a full chunk into account and makes it the past.
func (m *meterOne) work() {
	x, tops := m.buf[history:], m.tops[history/stride:]
	t := scan(x, tops)
	if !samples.Usable(t.top) {
		m.unusable += int64(samples.Scrub(x, x))
		t = scan(x, tops)
	}
	m.sum += t.sum
	m.sum2 += t.sum2
	if t.top > m.peak {
		m.peak = t.top
		for i, v := range x {
			if math.Abs(v) == t.top {
				m.peakAt = m.done + int64(i)
				break
			}
		}
	}
	if t.top > m.truePeak {
		m.truePeak, m.trueAt = t.top, float64(m.peakAt)
	}
	if m.all || max(t.top, m.tops[0], m.tops[1])*bound.gain > m.truePeak {
		m.interpolate()
	}
	copy(m.buf[:history], m.buf[chunk:])
	copy(m.tops[:history/stride], m.tops[chunk/stride:])
	m.done += chunk
	m.fill = 0
}

// interpolate looks into the gaps of the chunk, 8 samples late: those of block
// g depend on the samples of blocks g-1 to g+1 only.
func (m *meterOne) interpolate() {
	for g := 1; g <= chunk/stride; g++ {
		local := max(m.tops[g-1], m.tops[g], m.tops[g+1])
		if !m.all && local*bound.gain <= m.truePeak {
			continue
		}
		m.looked++
		first := g*stride - (reach - 1)
		top, at := raise((*[stride + 2*reach - 1]float64)(m.buf[first:]), m.truePeak, local, m.all)
		if at >= 0 {
			m.truePeak = top
			m.trueAt = float64(m.done+int64(g*stride-history)) + at
		}
	}
}

// finish returns the result as if the sound ended here, in silence. The state
// stays as it is.
func (m *meterOne) finish() Channel {
	end := *m
	n := end.done + int64(end.fill)
	for range 2 { // the second lets the last gaps of a full chunk through
		clear(end.buf[history+end.fill:])
		end.work()
	}
	c := Channel{Frames: n, SamplePeak: end.peak, SamplePeakFrame: -1, TruePeak: end.truePeak, TruePeakFrame: -1, Unusable: end.unusable}
	if end.peak > 0 {
		c.SamplePeakFrame, c.TruePeakFrame = end.peakAt, end.trueAt
	}
	if n > 0 {
		c.DC = end.sum / float64(n)
		c.RMS = math.Sqrt(end.sum2 / float64(n))
	}
	return c
}
