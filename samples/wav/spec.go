package wav

import (
	"fmt"
	"math"
	"math/bits"

	"tachbench/samples"
)

// Dither is what is added before rounding to integers.
type Dither int

const (
	// DitherTPDF adds triangular noise of ±1 step, independent for every
	// channel, so that the error's mean and power do not depend on the
	// signal. The right choice for anything that was computed.
	DitherTPDF Dither = iota
	// DitherNone only rounds: for samples that are already integers of the
	// same width, which then come out exactly.
	DitherNone
)

// Spec says what to write. Rate, channels and depth must be given; the zero
// value of everything else is a plain choice.
type Spec struct {
	RateHz   int
	Channels int
	BitDepth int    // 16 or 24, or 32 with Float
	Float    bool   // 32-bit IEEE float, undithered and unclipped
	Mask     uint32 // speaker positions; 0 unknown
	Dither   Dither // for integers
	Seed     uint64 // of the dither: same sound, same seed, same bytes

	// Frames is the number of frames to come, 0 if not known. When it is
	// known to fit, no room for an RF64 header is kept, and a plain file
	// has the classic 44-byte header that simple machines expect.
	Frames int64

	Loops     []samples.Loop    // written as `smpl`
	Cues      []samples.Cue     // written as `cue ` with labels and lengths in `LIST adtl`
	Tags      map[string]string // written as `LIST INFO`; keys are four characters such as INAM
	Broadcast *Broadcast        // written as `bext`
	Loudness  *samples.Loudness // written as `bext` version 2; may be replaced later by SetLoudness
}

// SpecOf returns the Spec that fits s: its rate, channels, mask and length,
// at bitDepth 16 or 24 (integer) or 32 (float).
func SpecOf(s *samples.Sound, bitDepth int) Spec {
	return Spec{RateHz: s.RateHz, Channels: s.Channels(), BitDepth: bitDepth, Float: bitDepth == 32, Mask: s.Mask, Frames: int64(s.Frames())}
}

func (s *Spec) extensible() bool { return s.Channels > 2 || s.Mask != 0 }

func (s *Spec) sampleBytes() int { return s.BitDepth / 8 }

func (s *Spec) frameBytes() int { return s.Channels * s.sampleBytes() }

func (s *Spec) hasBext() bool { return s.Broadcast != nil || s.Loudness != nil }

// validate returns what keeps s from being written.
func (s *Spec) validate() error {
	switch {
	case s.RateHz < 1 || s.RateHz > maxRateHz:
		return fmt.Errorf("wav: a sample rate of %d Hz cannot be written, 1 to %d can", s.RateHz, maxRateHz)
	case s.Channels < 1 || s.Channels > maxChannels:
		return fmt.Errorf("wav: %d channels cannot be written, 1 to %d can", s.Channels, maxChannels)
	case s.Float && s.BitDepth != 32:
		return fmt.Errorf("wav: %d-bit float cannot be written, 32-bit can", s.BitDepth)
	case !s.Float && s.BitDepth != 16 && s.BitDepth != 24:
		return fmt.Errorf("wav: %d-bit integers cannot be written, 16 and 24-bit can", s.BitDepth)
	case bits.OnesCount32(s.Mask) > s.Channels:
		return fmt.Errorf("wav: the channel mask 0x%X names %d speakers for %d channels", s.Mask, bits.OnesCount32(s.Mask), s.Channels)
	case s.Dither != DitherTPDF && s.Dither != DitherNone:
		return fmt.Errorf("wav: unknown dither %d", s.Dither)
	case s.Frames < 0:
		return fmt.Errorf("wav: %d frames announced", s.Frames)
	}
	for key := range s.Tags {
		if !plausibleID(key) {
			return fmt.Errorf("wav: %q cannot be a LIST INFO key, four ASCII characters can", key)
		}
	}
	if b := s.Broadcast; b != nil {
		for _, f := range []struct {
			name, text string
			max        int
		}{
			{"description", b.Description, bextOriginator},
			{"originator", b.Originator, bextReference - bextOriginator},
			{"originator reference", b.OriginatorReference, bextDate - bextReference},
			{"date", b.Date, bextTime - bextDate},
			{"time", b.Time, bextTimeRef - bextTime},
		} {
			if len(f.text) > f.max {
				return fmt.Errorf("wav: the bext %s has %d bytes, at most %d fit", f.name, len(f.text), f.max)
			}
		}
	}
	return validateMarks(s.Loops, s.Cues)
}

// validateMarks checks that loops and cues fit their 32-bit fields.
func validateMarks(loops []samples.Loop, cues []samples.Cue) error {
	for i, l := range loops {
		if l.Start < 0 || l.End <= l.Start || l.End-1 > math.MaxUint32 || l.Plays < 0 {
			return fmt.Errorf("wav: loop %d from frame %d to %d, played %d times, cannot be written", i+1, l.Start, l.End, l.Plays)
		}
	}
	for i, c := range cues {
		if c.Frame < 0 || c.Frame > math.MaxUint32 || c.Length < 0 || c.Length > math.MaxUint32 {
			return fmt.Errorf("wav: cue %d at frame %d, %d frames long, cannot be written", i+1, c.Frame, c.Length)
		}
	}
	return nil
}
