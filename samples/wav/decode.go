package wav

import (
	"encoding/binary"
	"math"
)

// decodeFrames turns interleaved frames in b into the first n places of every
// slice of dst. This is the reader's hot loop: one pass a channel, no
// allocation, the format decided outside of the inner loops.
func decodeFrames(dst [][]float64, from, n int, b []byte, f format) {
	stride := f.frameBytes()
	b = b[:n*stride]
	for c := range dst {
		out, in := dst[c][from:from+n], b[c*f.container:]
		switch {
		case f.float && f.container == 4:
			decodeFloat32(out, in, stride)
		case f.float:
			decodeFloat64(out, in, stride)
		case f.container == 1:
			decodeUint8(out, in, stride)
		case f.container == 2:
			decodeInt16(out, in, stride)
		case f.container == 3:
			decodeInt24(out, in, stride)
		default:
			decodeInt32(out, in, stride)
		}
	}
}

func decodeUint8(out []float64, in []byte, stride int) {
	for i, p := 0, 0; i < len(out); i, p = i+1, p+stride {
		out[i] = float64(int(in[p])-128) * (1.0 / (1 << 7))
	}
}

func decodeInt16(out []float64, in []byte, stride int) {
	for i, p := 0, 0; i < len(out); i, p = i+1, p+stride {
		out[i] = float64(int16(binary.LittleEndian.Uint16(in[p:]))) * (1.0 / (1 << 15))
	}
}

func decodeInt24(out []float64, in []byte, stride int) {
	for i, p := 0, 0; i < len(out); i, p = i+1, p+stride {
		s := in[p : p+3 : p+3]
		v := int32(uint32(s[0])<<8|uint32(s[1])<<16|uint32(s[2])<<24) >> 8
		out[i] = float64(v) * (1.0 / (1 << 23))
	}
}

func decodeInt32(out []float64, in []byte, stride int) {
	for i, p := 0, 0; i < len(out); i, p = i+1, p+stride {
		out[i] = float64(int32(binary.LittleEndian.Uint32(in[p:]))) * (1.0 / (1 << 31))
	}
}

func decodeFloat32(out []float64, in []byte, stride int) {
	for i, p := 0, 0; i < len(out); i, p = i+1, p+stride {
		out[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(in[p:])))
	}
}

func decodeFloat64(out []float64, in []byte, stride int) {
	for i, p := 0, 0; i < len(out); i, p = i+1, p+stride {
		out[i] = math.Float64frombits(binary.LittleEndian.Uint64(in[p:]))
	}
}
