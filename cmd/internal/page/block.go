package page

import (
	"encoding/binary"
	"math"
)

// A block on the wire, little endian:
//
//	0  u8   kind, 1
//	1  u8   flags; bit 0: the first block after a start or a gap
//	2  u16  frames
//	4  u32  number of the block since start
//	8  u32  seq of the last control that acted before this block
//	12 u32  lead in frames
//	16 f32  frames × left, right
const (
	headerBytes = 16
	frameBytes  = 8
	kindBlock   = 1
	flagFirst   = 1
)

// header is what is said of a block beside its sound.
type header struct {
	first  bool
	number uint32
	seq    uint32
	lead   uint32
}

// appendBlock appends a block to dst and returns it. It allocates nothing if
// dst has the room: headerBytes and frameBytes a frame.
func appendBlock(dst []byte, h header, frames [][2]float64) []byte {
	flags := byte(0)
	if h.first {
		flags = flagFirst
	}
	dst = append(dst, kindBlock, flags)
	dst = binary.LittleEndian.AppendUint16(dst, uint16(len(frames)))
	dst = binary.LittleEndian.AppendUint32(dst, h.number)
	dst = binary.LittleEndian.AppendUint32(dst, h.seq)
	dst = binary.LittleEndian.AppendUint32(dst, h.lead)
	for _, f := range frames {
		dst = binary.LittleEndian.AppendUint32(dst, math.Float32bits(float32(f[0])))
		dst = binary.LittleEndian.AppendUint32(dst, math.Float32bits(float32(f[1])))
	}
	return dst
}
