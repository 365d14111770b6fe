package band

import (
	"math"
	"slices"

	"tachbench/samples"
)

// Constants of the bandwidth estimate: common practice, no source.
const (
	sliceCount  = 256  // of the range up to half the rate
	depthDB     = 120  // what lies deeper under the strongest slice counts as this
	transition  = 1.12 // a sixth of an octave, in which the fall has to happen
	below       = 1.26 // the third octave under the fall that it is measured from
	lowestSlice = 8    // under it a sixth of an octave is less than a slice

	WallDB = 20 // least fall that counts as an edge
)

// Bandwidth is how far up a sound goes.
type Bandwidth struct {
	EdgeHz float64 // where it ends
	DropDB float64 // how far the spectrum falls there and stays down
}

// Bandwidth looks for a wall: a place where the spectrum falls by WallDB or
// more within a sixth of an octave and stays down up to half the sample rate.
// No instrument, voice or engine does that; a sample-rate conversion or a lossy
// codec does. It reports false if there is none: the sound then fades out by
// itself or goes all the way up.
func (s Spectrum) Bandwidth() (Bandwidth, bool) {
	var level [sliceCount]float64
	width := float64(s.RateHz) / 2 / sliceCount
	top := math.Inf(-1)
	for k := range level {
		level[k] = samples.PowerDB(s.Between(float64(k)*width, float64(k+1)*width))
		top = max(top, level[k])
	}
	if math.IsInf(top, -1) {
		return Bandwidth{}, false
	}
	for k := range level {
		level[k] = max(level[k], top-depthDB)
	}
	// over[k] is the strongest slice from k on.
	var over [sliceCount + 1]float64
	over[sliceCount] = top - depthDB
	for k := sliceCount - 1; k >= 0; k-- {
		over[k] = max(over[k+1], level[k])
	}
	var best, plateau float64
	for e := lowestSlice; e < sliceCount; e++ {
		after := int(math.Ceil(float64(e) * transition))
		if after >= sliceCount {
			break
		}
		// Three quarters of what is below must stand high: a tone alone is
		// no spectrum that falls.
		stands := append([]float64(nil), level[int(float64(e)/below):e]...)
		slices.Sort(stands)
		quarter := stands[len(stands)/4]
		if drop := quarter - over[after]; drop > best {
			best, plateau = drop, quarter
		}
	}
	if best < WallDB {
		return Bandwidth{}, false
	}
	// The edge is half way down, where the level leaves the plateau for good.
	edge := sliceCount
	for over[edge-1] < plateau-best/2 {
		edge--
	}
	return Bandwidth{EdgeHz: float64(edge) * width, DropDB: best}, true
}
