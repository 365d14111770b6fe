package file

import (
	"errors"
	"fmt"
	"math"
	"math/bits"
)

// What a real set of Vorbis codebooks stays far below. jfreymuth/vorbis makes
// room for what the header claims before it looks at the claim (a book of 0
// entries asks for 16 GB), builds its trees in quadratic time, and loops for
// ever on a book of 0 dimensions, one without a single used entry, or an
// ordered book that runs out of bits.
const (
	maxBookEntries  = 1 << 15
	maxBookValues   = 1 << 20 // entries × dimensions
	maxTotalEntries = 1 << 17
	maxTotalValues  = 1 << 22
)

// vorbisBits reads a packet from its lowest bit on (Vorbis I section 2).
type vorbisBits struct {
	b    []byte
	pos  int // in bits
	over bool
}

func (v *vorbisBits) read(n int) uint32 {
	if v.pos+n > 8*len(v.b) {
		v.over = true
		v.pos = 8 * len(v.b)
		return 0
	}
	var x uint32
	for i := range n {
		x |= uint32(v.b[v.pos>>3]>>(v.pos&7)&1) << i
		v.pos++
	}
	return x
}

// checkSetup walks the codebooks and floors of a setup packet (Vorbis I
// sections 3.2.1 and 7.2.2), refuses what would cost the decoder out of
// proportion, and returns the packet in the form the decoder understands.
//
// The one change: a floor without partitions has no classes, but
// jfreymuth/vorbis reads one all the same and loses its place. The reference
// encoder writes such a floor for the low-frequency channel of 5.1. An unused
// class of 13 zero bits put in here changes nothing else.
func checkSetup(packet []byte) ([]byte, error) {
	v := &vorbisBits{b: packet, pos: 7 * 8}
	entries, values := 0, 0
	for i := range int(v.read(8)) + 1 {
		n, dim, err := v.checkBook()
		if err != nil {
			return nil, fmt.Errorf("codebook %d: %w", i, err)
		}
		entries += n
		values += n * dim
		if entries > maxTotalEntries || values > maxTotalValues {
			return nil, errors.New("the codebooks claim more than any encoder makes")
		}
	}
	for range int(v.read(6)) + 1 {
		v.read(16)
	}
	var bare []int // bits at which a class is wanting
	for range int(v.read(6)) + 1 {
		if v.read(16) != 1 {
			return nil, errors.New("floor type 0, which no encoder of this century writes")
		}
		if v.checkFloor() == 0 {
			bare = append(bare, v.pos-6) // before multiplier and range
		}
	}
	if v.over {
		return nil, errors.New("the setup header ends early")
	}
	if bare == nil {
		return packet, nil
	}
	return insertZeros(packet, bare, 13), nil
}

// checkFloor steps over a floor of type 1 and returns its partitions.
func (v *vorbisBits) checkFloor() int {
	classes := make([]uint32, v.read(5))
	last := -1
	for i := range classes {
		classes[i] = v.read(4)
		last = max(last, int(classes[i]))
	}
	var dims [16]uint32
	for i := range last + 1 {
		dims[i] = v.read(3) + 1
		sub := v.read(2)
		if sub > 0 {
			v.read(8)
		}
		for range 1 << sub {
			v.read(8)
		}
	}
	v.read(2)
	width := int(v.read(4))
	for _, c := range classes {
		for range dims[c] {
			v.read(width)
		}
	}
	return len(classes)
}

// insertZeros returns b with n zero bits before each of the given bits.
func insertZeros(b []byte, before []int, n int) []byte {
	out := make([]byte, len(b)+(len(before)*n+7)/8)
	to := 0
	for from := range 8 * len(b) {
		for len(before) > 0 && before[0] == from {
			to += n
			before = before[1:]
		}
		out[to>>3] |= b[from>>3] >> (from & 7) & 1 << (to & 7)
		to++
	}
	return out
}

func (v *vorbisBits) checkBook() (entries, dim int, err error) {
	if v.read(24) != 0x564342 {
		return 0, 0, errors.New("it does not begin as one")
	}
	dim, entries = int(v.read(16)), int(v.read(24))
	switch {
	case v.over:
		return 0, 0, errors.New("the setup header ends early")
	case dim < 1 || entries < 1:
		return 0, 0, fmt.Errorf("%d entries of %d dimensions", entries, dim)
	case entries > maxBookEntries || entries*dim > maxBookValues:
		return 0, 0, fmt.Errorf("%d entries of %d dimensions, more than any encoder makes", entries, dim)
	}
	used := 0
	if v.read(1) == 0 {
		sparse := v.read(1) == 1
		for range entries {
			if !sparse || v.read(1) == 1 {
				v.read(5)
				used++
			}
		}
	} else {
		length := v.read(5) + 1
		for used < entries && !v.over {
			used += int(v.read(bits.Len(uint(entries - used))))
			if length++; length > 33 {
				return 0, 0, errors.New("its code words are longer than 32 bits")
			}
		}
		if used > entries {
			return 0, 0, fmt.Errorf("it counts %d of %d entries", used, entries)
		}
	}
	if v.over || used == 0 {
		return 0, 0, errors.New("it has no entries in use, or ends early")
	}
	lookup := v.read(4)
	if lookup == 0 {
		return entries, dim, nil
	}
	v.read(32)
	v.read(32)
	width := int(v.read(4)) + 1
	v.read(1)
	n := entries * dim
	if lookup == 1 {
		n = lookup1(entries, dim)
		// The decoder takes the root in floating point and so misses some
		// exact cubes; no book of the reference encoder is one of them.
		if n != int(math.Pow(float64(entries), 1/float64(dim))) {
			return 0, 0, fmt.Errorf("%d entries of %d dimensions, which the decoder miscounts", entries, dim)
		}
	}
	if v.pos+n*width > 8*len(v.b) {
		return 0, 0, errors.New("the setup header ends early")
	}
	v.pos += n * width
	return entries, dim, nil
}

// lookup1 is the largest r with r^dim ≤ entries (Vorbis I section 9.2.3).
func lookup1(entries, dim int) int {
	for r := 1; ; r++ {
		p := 1
		for range dim {
			if p *= r + 1; p > entries {
				return r
			}
		}
	}
}
