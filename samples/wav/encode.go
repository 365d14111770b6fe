package wav

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
)

// encoder turns planar samples into interleaved bytes; the writer's hot loop.
type encoder struct {
	channels, sampleBytes int
	float                 bool
	dither                []*rand.PCG // one a channel; nil without dither
	clipped               int64       // samples that had to be held at full scale
}

func newEncoder(s *Spec) encoder {
	e := encoder{channels: s.Channels, sampleBytes: s.sampleBytes(), float: s.Float}
	if s.Float || s.Dither == DitherNone {
		return e
	}
	e.dither = make([]*rand.PCG, s.Channels)
	for c := range e.dither {
		// The golden ratio spreads neighbouring channels over the state.
		e.dither[c] = rand.NewPCG(s.Seed, 0x9E3779B97F4A7C15*uint64(c+1))
	}
	return e
}

// encode writes n frames of src, from frame from on, to the front of b.
func (e *encoder) encode(b []byte, src [][]float64, from, n int) {
	stride := e.channels * e.sampleBytes
	for c := range src {
		in := src[c][from : from+n]
		out := b[c*e.sampleBytes:]
		if e.float {
			for i, p := 0, 0; i < len(in); i, p = i+1, p+stride {
				binary.LittleEndian.PutUint32(out[p:], math.Float32bits(float32(in[i])))
			}
			continue
		}
		var noise *rand.PCG
		if e.dither != nil {
			noise = e.dither[c]
		}
		if e.sampleBytes == 2 {
			for i, p := 0, 0; i < len(in); i, p = i+1, p+stride {
				binary.LittleEndian.PutUint16(out[p:], uint16(e.quantise(in[i], 1<<15, noise)))
			}
			continue
		}
		for i, p := 0, 0; i < len(in); i, p = i+1, p+stride {
			v := e.quantise(in[i], 1<<23, noise)
			out[p], out[p+1], out[p+2] = byte(v), byte(v>>8), byte(v>>16)
		}
	}
}

// quantise scales v so that full is 1.0, adds dither, rounds to the nearest
// step and holds the result within the integers. NaN becomes 0.
func (e *encoder) quantise(v, full float64, noise *rand.PCG) int32 {
	v *= full
	if noise != nil {
		v += tpdf(noise)
	}
	v = math.RoundToEven(v)
	switch {
	case v > full-1:
		e.clipped++
		return int32(full) - 1
	case v < -full:
		e.clipped++
		return -int32(full)
	case v != v:
		return 0
	}
	return int32(v)
}

// tpdf returns triangular noise in (-1, 1) steps with mean 0 and variance
// 1/6: the sum of two uniform numbers, here the halves of one draw.
func tpdf(noise *rand.PCG) float64 {
	u := noise.Uint64()
	return float64(u>>32+u&0xFFFFFFFF+1)*(1.0/(1<<32)) - 1
}
