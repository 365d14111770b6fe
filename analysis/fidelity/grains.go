package fidelity

import "math"

// GrainUse says that a grain began to sound at a time.
type GrainUse struct {
	ID  int // which grain of the bank
	AtS float64
}

// GrainResult tells how grains came again in a log.
type GrainResult struct {
	Uses, Distinct int
	Immediate      int     // a grain directly followed by itself
	TooSoon        int     // reuses within three grains and within 1 s, immediate ones included
	ShortestS      float64 // shortest time between two uses of a grain; NaN if none came twice
	ShortestGrains int     // shortest distance in the log; 0 if none came twice
	// PeriodicShare is the largest share, over all lags up to 3 s, of places
	// where the log shows the same grain as one lag before. A loop gives 1,
	// free choice among n grains about 1/n.
	PeriodicShare float64
	PeriodicLag   int // that lag in grains
}

const (
	soonS      = 1.0
	soonGrains = 3
)

// CheckGrains looks for grains that come again too soon and for a reuse
// pattern that is itself periodic. The log must ascend in time. The rule is
// the shorter of 1 s and three grains: a reuse is too soon if it is within
// both.
func CheckGrains(log []GrainUse) GrainResult {
	r := GrainResult{Uses: len(log), ShortestS: math.NaN(), PeriodicShare: math.NaN()}
	last := map[int]int{}
	for i, g := range log {
		if j, ok := last[g.ID]; ok {
			d := g.AtS - log[j].AtS
			if i-j == 1 {
				r.Immediate++
			}
			if i-j <= soonGrains && d <= soonS {
				r.TooSoon++
			}
			if !(d >= r.ShortestS) {
				r.ShortestS = d
			}
			if r.ShortestGrains == 0 || i-j < r.ShortestGrains {
				r.ShortestGrains = i - j
			}
		}
		last[g.ID] = i
	}
	r.Distinct = len(last)
	if len(log) < 2*fewestPairs {
		return r
	}
	r.PeriodicShare = 0
	step := (log[len(log)-1].AtS - log[0].AtS) / float64(len(log)-1)
	for lag := 1; lag <= len(log)-fewestPairs && float64(lag)*step <= repeatToS; lag++ {
		same := 0
		for i := lag; i < len(log); i++ {
			if log[i].ID == log[i-lag].ID {
				same++
			}
		}
		if share := float64(same) / float64(len(log)-lag); share > r.PeriodicShare {
			r.PeriodicShare, r.PeriodicLag = share, lag
		}
	}
	return r
}
