package loudness

import "math/bits"

// Speaker positions of WAVE_FORMAT_EXTENSIBLE that need a rule of their own.
const (
	maskLFE  = 0x8
	maskBack = 0x10 | 0x20   // back left, back right
	maskSide = 0x200 | 0x400 // side left, side right
)

// Weights of BS.1770-5: Annex 1 Table 3 and Annex 3 Table 4.
const (
	weightFront    = 1.00
	weightSurround = 1.41
	weightLFE      = 0
)

// Weights returns the factor on the power of each channel.
//
// With a mask that names exactly as many speakers as there are channels: LFE
// 0; the side pair (90°) 1.41; the back pair 1.41 when it is the only surround
// pair, else (135°) 1.00; every other speaker 1.00 (front, back centre,
// overhead).
//
// Without one the usual order of so many channels is taken: 1 to 3 are L R C;
// 4 is L R Ls Rs; 5 is L R C Ls Rs; 6 is L R C LFE Ls Rs; 7 is L R C LFE, back
// centre, side pair; 8 is L R C LFE, back pair, side pair. From 9 channels on
// there is no usual order, and all count 1.00.
func Weights(channels int, mask uint32) []float64 {
	if bits.OnesCount32(mask) != channels {
		mask = usualMask(channels)
	}
	w := make([]float64, channels)
	for c := range w {
		bit := mask & -mask // channels lie in rising bit order
		mask &^= bit
		w[c] = weightFront
		switch {
		case bit == maskLFE:
			w[c] = weightLFE
		case bit&maskSide != 0:
			w[c] = weightSurround
		case bit&maskBack != 0 && mask&maskSide == 0:
			w[c] = weightSurround // no side pair follows
		}
	}
	return w
}

// usualMask returns the speakers of a file that names none; 0 where no usual
// order exists, which weighs every channel 1.00.
func usualMask(channels int) uint32 {
	switch channels {
	case 1:
		return 0x4
	case 2:
		return 0x3
	case 3:
		return 0x7
	case 4:
		return 0x33
	case 5:
		return 0x37
	case 6:
		return 0x3F
	case 7:
		return 0x70F
	case 8:
		return 0x63F
	}
	return 0
}
