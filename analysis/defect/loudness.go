package defect

import (
	"math"
	"slices"
	"strings"
)

// Loud is one sound of a category with its integrated loudness.
type Loud struct {
	Path string
	LUFS float64 // NaN: not measured; such sounds are left out
}

// medianNeeded is how many sounds a category without a target needs to be
// judged by its own median.
const medianNeeded = 3

// CheckLoudness judges the sounds of one category against its target, or
// against its own median if targetLUFS is NaN; then the tolerance is half the
// allowed width of the category, as a family without a target may differ more.
func CheckLoudness(sounds []Loud, targetLUFS float64, opt Options) []Located {
	known := measured(sounds)
	limit, name := opt.Limit("tolerance_lu"), "target"
	if math.IsNaN(targetLUFS) {
		if len(known) < medianNeeded {
			return nil
		}
		targetLUFS, limit, name = quantile(known, 0.5), opt.Limit("spread_lu")/2, "median of its category"
	}
	var out []Located
	for _, s := range known {
		off := s.LUFS - targetLUFS
		// Readings are rounded to 0.1 LU for people; what reads as the limit passes.
		if math.Abs(off) <= limit+0.05 {
			continue
		}
		side := "louder"
		if off < 0 {
			side = "quieter"
		}
		n := decimalsApart(math.Abs(off), limit, 1)
		out = append(out, Located{s.Path, found("loudness-off-target", wholeFile, allChannels, reading{value: off, limit: limit, unit: "LU"},
			"At %s LUFS it is %s LU %s than the %s (%s LUFS, ±%s LU).",
			level(s.LUFS, n), level(math.Abs(off), n), side, name, level(targetLUFS, n), level(limit, n))})
	}
	SortLocated(out)
	return out
}

// CheckSpread reports a category whose loudness differs too much from sound to
// sound: from the 10th to the 90th percentile. The finding belongs to the
// category, so it has no path. Fewer than 3 measured sounds are not judged.
func CheckSpread(category string, sounds []Loud, opt Options) []Finding {
	known := measured(sounds)
	if len(known) < medianNeeded {
		return nil
	}
	lo, hi, limit := quantile(known, 0.1), quantile(known, 0.9), opt.Limit("spread_lu")
	if hi-lo <= limit {
		return nil
	}
	byLevel := slices.Clone(known)
	slices.SortStableFunc(byLevel, func(a, b Loud) int {
		switch {
		case a.LUFS < b.LUFS:
			return -1
		case a.LUFS > b.LUFS:
			return 1
		}
		return 0
	})
	quietest, loudest := byLevel[0], byLevel[len(byLevel)-1]
	width := level(hi-lo, decimalsApart(hi-lo, limit, 1))
	return []Finding{found("loudness-spread", wholeFile, allChannels, reading{value: hi - lo, limit: limit, unit: "LU"},
		"Category %s spreads over %s LU, from %s (%.1f LUFS) to %s (%.1f LUFS).",
		quoted(category), width, quoted(quietest.Path), quietest.LUFS, quoted(loudest.Path), loudest.LUFS)}
}

// measured returns the sounds with a reading, in order of path.
func measured(sounds []Loud) []Loud {
	out := make([]Loud, 0, len(sounds))
	for _, s := range sounds {
		if !math.IsNaN(s.LUFS) && !math.IsInf(s.LUFS, 0) {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b Loud) int { return strings.Compare(a.Path, b.Path) })
	return out
}

// quantile interpolates linearly between the sorted readings.
func quantile(sounds []Loud, q float64) float64 {
	v := make([]float64, len(sounds))
	for i, s := range sounds {
		v[i] = s.LUFS
	}
	slices.Sort(v)
	x := q * float64(len(v)-1)
	i := int(x)
	if i+1 >= len(v) {
		return v[len(v)-1]
	}
	return v[i] + (x-float64(i))*(v[i+1]-v[i])
}
