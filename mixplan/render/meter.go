package render

import (
	"math"

	"tachbench/analysis/loudness"
	"tachbench/analysis/peak"
)

// CeilingDBTP is the true peak that a mix over full scale is turned down to
// (EBU R 128: -1 dBTP at most).
const CeilingDBTP = -1

// Levels is how loud a render is. NaN where there is nothing to measure.
type Levels struct {
	SamplePeakDBFS, TruePeakDBTP float64
	IntegratedLUFS               float64
	NotLoud                      string // why IntegratedLUFS is NaN, in words
	MomentaryMaxLUFS             float64
}

// Meter measures what is written to it. It is a Sink.
type Meter struct {
	loud *loudness.Meter
	peak *peak.Meter
}

// NewMeter returns a meter; the error names a rate or number of channels that
// cannot be measured.
func NewMeter(rateHz, channels int) (*Meter, error) {
	l, err := loudness.New(rateHz, channels, 0)
	if err != nil {
		return nil, err
	}
	p, err := peak.New(rateHz, channels)
	return &Meter{l, p}, err
}

// Write takes in a block and never fails.
func (m *Meter) Write(block [][]float64) error {
	m.loud.Write(block)
	m.peak.Write(block)
	return nil
}

// Levels returns what was measured so far.
func (m *Meter) Levels() Levels {
	r, p := m.loud.Result(), m.peak.Result()
	orNaN := func(v float64, ok bool) float64 {
		if !ok {
			return math.NaN()
		}
		return v
	}
	return Levels{
		SamplePeakDBFS: orNaN(p.SamplePeakDBFS()), TruePeakDBTP: orNaN(p.TruePeakDBTP()),
		IntegratedLUFS: r.IntegratedLUFS.Value, NotLoud: r.IntegratedLUFS.Absent, MomentaryMaxLUFS: r.MomentaryMaxLUFS.Value,
	}
}

// TurnDownDB returns the gain that brings a render over full scale, by true
// peak, under the ceiling; 0 for one that is not over.
func (l Levels) TurnDownDB() float64 {
	if l.TruePeakDBTP > 0 {
		return CeilingDBTP - l.TruePeakDBTP
	}
	return 0
}

// Tee writes to several sinks in turn and stops at the first error.
func Tee(sinks ...Sink) Sink {
	return SinkFunc(func(block [][]float64) error {
		for _, s := range sinks {
			if err := s.Write(block); err != nil {
				return err
			}
		}
		return nil
	})
}
