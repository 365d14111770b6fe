package scene

import (
	"math"
	"math/bits"

	"tachbench/samples"
)

// Speakers of WAVE_FORMAT_EXTENSIBLE that are told apart: Microsoft, "Multiple
// channel audio data and WAVE files", table of dwChannelMask bits.
const (
	frontLeft = 1 << iota
	frontRight
	frontCentre
	lowFrequency
	backLeft
	backRight
	leftOfCentre
	rightOfCentre
	backCentre
	sideLeft
	sideRight
)

// usualMask is what a file without a mask is taken for, by channels.
var usualMask = map[int]uint32{
	3: frontLeft | frontRight | frontCentre,
	4: frontLeft | frontRight | backLeft | backRight,
	5: frontLeft | frontRight | frontCentre | backLeft | backRight,
	6: frontLeft | frontRight | frontCentre | lowFrequency | backLeft | backRight,
	7: frontLeft | frontRight | frontCentre | lowFrequency | backCentre | sideLeft | sideRight,
	8: frontLeft | frontRight | frontCentre | lowFrequency | backLeft | backRight | sideLeft | sideRight,
}

// Fold brings a sound to one or two channels; see the package comment. Sounds
// of one or two are returned as they are.
func Fold(s *samples.Sound) *samples.Sound {
	n := s.Channels()
	if n <= 2 {
		return s
	}
	out := samples.NewSound(s.RateHz, 2, s.Frames())
	mask := s.Mask
	if bits.OnesCount32(mask) != n {
		mask = usualMask[n]
	}
	for c, ch := range s.Chans {
		l, r := speakerGains(mask, c)
		for i, v := range ch {
			out.Chans[0][i] += l * v
			out.Chans[1][i] += r * v
		}
	}
	return out
}

// speakerGains returns how much of channel c goes left and right.
func speakerGains(mask uint32, c int) (l, r float64) {
	half := math.Sqrt(0.5)
	if mask == 0 {
		if c%2 == 0 {
			return half, 0
		}
		return 0, half
	}
	for range c {
		mask &= mask - 1 // the lowest bit belongs to a channel before
	}
	switch mask & -mask {
	case frontLeft:
		return 1, 0
	case frontRight:
		return 0, 1
	case lowFrequency:
		return 0, 0
	case backLeft, sideLeft, leftOfCentre:
		return half, 0
	case backRight, sideRight, rightOfCentre:
		return 0, half
	case backCentre:
		return 0.5, 0.5
	}
	return half, half // the centre, and speakers over the listener
}
