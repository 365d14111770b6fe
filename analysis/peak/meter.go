package peak

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

// Meter measures one stream of sound. Make one with New for each stream.
type Meter struct {
	rateHz int
	chans  []meterOne
}

// New returns a meter for a stream.
func New(rateHz, channels int) (*Meter, error) {
	if rateHz < MinRateHz || rateHz > MaxRateHz {
		return nil, fmt.Errorf("peak: sample rate %d Hz; can be %d to %d Hz", rateHz, MinRateHz, MaxRateHz)
	}
	if channels < 1 || channels > MaxChannels {
		return nil, fmt.Errorf("peak: %d channels; can be 1 to %d", channels, MaxChannels)
	}
	return &Meter{rateHz: rateHz, chans: make([]meterOne, channels)}, nil
}

// Write takes in the next frames: one slice per channel, all of equal length.
// The block is not kept and not changed. It panics when the shape is wrong.
func (m *Meter) Write(block [][]float64) {
	if len(block) != len(m.chans) {
		panic(fmt.Sprintf("peak: block of %d channels for a meter of %d", len(block), len(m.chans)))
	}
	for _, ch := range block {
		if len(ch) != len(block[0]) {
			panic("peak: channels of a block differ in length")
		}
	}
	for c := range m.chans {
		m.chans[c].write(block[c])
	}
}

// Result holds what was measured of everything written so far.
type Result struct {
	RateHz   int
	Channels []Channel // in the order of the file
}

// Result may be called at any time and changes nothing. It treats the sound as
// ended.
func (m *Meter) Result() Result {
	r := Result{RateHz: m.rateHz, Channels: make([]Channel, len(m.chans))}
	for c := range m.chans {
		r.Channels[c] = m.chans[c].finish()
	}
	return r
}

// Loudest returns the channel with the highest true peak, the first of equals.
func (r Result) Loudest() int {
	best := 0
	for c, ch := range r.Channels {
		if ch.TruePeak > r.Channels[best].TruePeak {
			best = c
		}
	}
	return best
}

// TruePeakDBTP is the highest true peak of all channels; false if all are silent.
func (r Result) TruePeakDBTP() (float64, bool) { return r.Channels[r.Loudest()].TruePeakDBTP() }

// SamplePeakDBFS is the highest sample peak of all channels; false if all are
// silent.
func (r Result) SamplePeakDBFS() (float64, bool) {
	var p float64
	for _, ch := range r.Channels {
		p = max(p, ch.SamplePeak)
	}
	return samples.AmplitudeDB(p), p > 0
}

// Unusable is the count over all channels.
func (r Result) Unusable() int64 {
	var n int64
	for _, ch := range r.Channels {
		n += ch.Unusable
	}
	return n
}
