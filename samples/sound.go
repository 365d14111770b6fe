package samples

import "fmt"

// Sound is sampled sound in memory, planar: Chans[channel][frame].
//
// Samples are linear pulse code with full scale at ±1; integer sources are
// divided by 2^(bits-1), so the most negative integer is exactly -1. Values
// beyond ±1 are legal (float files carry them) and are kept.
type Sound struct {
	RateHz int         // frames per second, > 0
	Chans  [][]float64 // at least one channel; all of equal length
	Mask   uint32      // speaker positions as in WAVE_FORMAT_EXTENSIBLE; 0 unknown
}

// NewSound returns a silent sound. It panics if rateHz or channels is not
// positive or frames is negative.
func NewSound(rateHz, channels, frames int) *Sound {
	if rateHz <= 0 || channels <= 0 || frames < 0 {
		panic(fmt.Sprintf("samples: NewSound(%d Hz, %d channels, %d frames)", rateHz, channels, frames))
	}
	s := &Sound{RateHz: rateHz, Chans: make([][]float64, channels)}
	all := make([]float64, channels*frames)
	for c := range s.Chans {
		s.Chans[c] = all[c*frames : (c+1)*frames : (c+1)*frames]
	}
	return s
}

// Channels returns the number of channels.
func (s *Sound) Channels() int { return len(s.Chans) }

// Frames returns the number of sample frames.
func (s *Sound) Frames() int {
	if len(s.Chans) == 0 {
		return 0
	}
	return len(s.Chans[0])
}

// DurationS returns the length in seconds.
func (s *Sound) DurationS() float64 { return float64(s.Frames()) / float64(s.RateHz) }

// Mono returns the average of all channels, (L+R)/2 for stereo: what a
// single cabinet speaker plays when the machine folds down without gain. For
// a mono sound it is the channel itself, not a copy.
func (s *Sound) Mono() []float64 {
	if len(s.Chans) == 1 {
		return s.Chans[0]
	}
	out := make([]float64, s.Frames())
	g := 1 / float64(len(s.Chans))
	for _, ch := range s.Chans {
		for i, v := range ch {
			out[i] += g * v
		}
	}
	return out
}

// Slice returns frames from..to (to exclusive) sharing memory with s. It
// panics when the range lies outside the sound, like a Go slice.
func (s *Sound) Slice(from, to int) *Sound {
	out := &Sound{RateHz: s.RateHz, Mask: s.Mask, Chans: make([][]float64, len(s.Chans))}
	for c, ch := range s.Chans {
		out.Chans[c] = ch[from:to:to]
	}
	return out
}
