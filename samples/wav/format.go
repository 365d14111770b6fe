package wav

import (
	"encoding/binary"
	"fmt"
	"math/bits"
)

// format is the decoded `fmt ` chunk.
type format struct {
	rateHz    int
	channels  int
	float     bool
	container int // bytes of one sample
	validBits int
	mask      uint32
}

func (f format) frameBytes() int { return f.channels * f.container }

// parseFormat decodes the payload of a `fmt ` chunk that begins at byte at.
func parseFormat(b []byte, at int64, warn func(int64, string, ...any)) (format, error) {
	var f format
	if len(b) < fmtPlainSize {
		return f, &FormatError{at, fmt.Sprintf("the fmt chunk has %d bytes, it needs at least %d", len(b), fmtPlainSize)}
	}
	le := binary.LittleEndian
	tag := le.Uint16(b)
	channels, rate := int(le.Uint16(b[2:])), le.Uint32(b[4:])
	byteRate, align, bitDepth := le.Uint32(b[8:]), int(le.Uint16(b[12:])), int(le.Uint16(b[14:]))
	valid := bitDepth
	if tag == tagExtensible {
		if len(b) < fmtExtensibleSize {
			return f, &FormatError{at, fmt.Sprintf("the extensible fmt chunk has %d bytes, it needs %d", len(b), fmtExtensibleSize)}
		}
		if [14]byte(b[26:40]) != guidTail {
			return f, &UnsupportedError{at + 24, fmt.Sprintf("sub-format % x is not known", b[24:40])}
		}
		tag = le.Uint16(b[24:])
		f.mask = le.Uint32(b[20:])
		if v := int(le.Uint16(b[18:])); v >= 1 && v <= bitDepth {
			valid = v
		} else {
			warn(at+18, "%d valid bits in a %d-bit sample; taken as %d", v, bitDepth, bitDepth)
		}
	}
	switch {
	case tag != tagPCM && tag != tagFloat:
		name := tagNames[tag]
		if name == "" {
			name = "unknown"
		}
		return f, &UnsupportedError{at, fmt.Sprintf("codec 0x%04X (%s); only linear PCM and IEEE float are read", tag, name)}
	case channels == 0:
		return f, &FormatError{at + 2, "the header promises no channels"}
	case channels > maxChannels:
		return f, &UnsupportedError{at + 2, fmt.Sprintf("%d channels, at most %d are read", channels, maxChannels)}
	case rate == 0 || rate > maxRateHz:
		return f, &FormatError{at + 4, fmt.Sprintf("a sample rate of %d Hz cannot be", rate)}
	case bitDepth == 0:
		return f, &FormatError{at + 14, "the header promises samples of 0 bits"}
	}
	f.rateHz, f.channels, f.float, f.validBits = int(rate), channels, tag == tagFloat, valid
	f.container = (bitDepth + 7) / 8
	if want := channels * f.container; align != want {
		// A wider container that divides evenly is a real habit (24 bits
		// in 4 bytes); anything else is a wrong number in the header.
		if per := align / channels; align%channels == 0 && per > f.container && per <= 4 && !f.float {
			warn(at+12, "block align %d where %d channels of %d bits need %d; read as %d-byte samples", align, channels, bitDepth, want, per)
			f.container = per
		} else {
			warn(at+12, "block align %d where %d channels of %d bits need %d; ignored", align, channels, bitDepth, want)
		}
	}
	if want := uint64(rate) * uint64(f.frameBytes()); uint64(byteRate) != want {
		warn(at+8, "%d bytes per second where %d Hz and %d-byte frames make %d", byteRate, rate, f.frameBytes(), want)
	}
	if f.float && bitDepth != 32 && bitDepth != 64 {
		return f, &UnsupportedError{at + 14, fmt.Sprintf("%d-bit float; 32 and 64 are read", bitDepth)}
	}
	if !f.float && f.container > 4 {
		return f, &UnsupportedError{at + 14, fmt.Sprintf("%d-bit integers; up to 32 are read", bitDepth)}
	}
	if n := bits.OnesCount32(f.mask); f.mask != 0 && n != channels {
		warn(at+20, "the channel mask 0x%X names %d speakers for %d channels", f.mask, n, channels)
	}
	return f, nil
}
