package ear

import (
	"math"
	"sort"

	"tachbench/samples/sheet"
)

// response is the magnitude of the cabinet speaker over frequency.
type response struct {
	lowCutHz float64               // 0 = none
	points   []sheet.ResponsePoint // ascending; nil = none
}

// db returns the magnitude in dB at a frequency over 0.
func (r *response) db(hz float64) float64 {
	if len(r.points) == 0 {
		return r.lowCutDB(hz)
	}
	first, last := r.points[0], r.points[len(r.points)-1]
	switch {
	case hz < first.Hz:
		return first.DB + r.lowCutDB(hz) - r.lowCutDB(first.Hz)
	case hz >= last.Hz:
		return last.DB
	}
	i := sort.Search(len(r.points), func(i int) bool { return r.points[i].Hz > hz })
	a, b := r.points[i-1], r.points[i]
	return a.DB + (b.DB-a.DB)*math.Log(hz/a.Hz)/math.Log(b.Hz/a.Hz)
}

// lowCutDB is a second-order Butterworth high-pass, |H|² = x⁴/(1+x⁴).
func (r *response) lowCutDB(hz float64) float64 {
	if r.lowCutHz == 0 {
		return 0
	}
	x := math.Pow(r.lowCutHz/hz, 4)
	return -10 * math.Log10(1+x)
}

// bandDB returns the gain of a third-octave band: the mean of |H|² over log
// frequency, which is what pink noise within the band sees.
func (r *response) bandDB(b int) float64 {
	const steps = 64
	var sum float64
	for n := range steps {
		x := float64(b-17)/10 - 0.05 + 0.1*(float64(n)+0.5)/steps
		sum += math.Pow(10, r.db(1000*math.Pow(10, x))/10)
	}
	return 10 * math.Log10(sum/steps)
}
