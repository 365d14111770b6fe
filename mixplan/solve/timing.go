package solve

import (
	"fmt"
	"math"

	"tachbench/mixplan"
	"tachbench/mixplan/meet"
)

// Times of a duck, common practice, no source: an attack of 20 to 80 ms for
// music and effects and 80 to 150 ms for an engine, a hold of 150 to 300 ms
// that bridges pauses under 0.8 s, a return of 10 to 30 dB/s in 300 ms to 1 s.
// All slopes stay within the limits of package mixplan.
const (
	attackDBPerS       = 150
	engineAttackDBPerS = 75
	attackMS           = 40
	engineAttackMS     = 100
	bridgeS            = 0.8
	holdMS             = 200
	returnDBPerS       = 20
	releaseMS          = 300
	slowestMS          = 1000
)

// pace is what the callouts' own timing asks of every duck.
type pace struct {
	longestPauseS float64 // of those to be bridged; 0 without
	shortestRunIn float64 // seconds from the start of a file to its first word
}

func paceOf(callouts []*meet.Sound) pace {
	p := pace{shortestRunIn: math.Inf(1)}
	for _, c := range callouts {
		for i, s := range c.Spans {
			if i == 0 {
				p.shortestRunIn = math.Min(p.shortestRunIn, s.FromS)
				continue
			}
			if gap := s.FromS - c.Spans[i-1].ToS; gap <= bridgeS {
				p.longestPauseS = math.Max(p.longestPauseS, gap)
			}
		}
	}
	if math.IsInf(p.shortestRunIn, 1) {
		p.shortestRunIn = 0
	}
	return p
}

// duckOf gives a depth its times and reasons.
func (p pace) duckOf(category string, depthDB float64, dip *mixplan.Dip) mixplan.Duck {
	d := mixplan.Duck{Under: meet.Callout, Category: category, DepthDB: depthDB, Dip: dip, Why: map[string]string{}}
	slope, least, what := float64(attackDBPerS), float64(attackMS), "quick, and not heard as a step"
	if category == mixplan.Engine {
		slope, least, what = engineAttackDBPerS, engineAttackMS, "slow enough for a steady engine tone"
	}
	d.AttackMS = up(math.Max(least, depthDB/slope*1000), 5)
	d.Why["attack_ms"] = fmt.Sprintf("%s: %.0f dB/s", what, depthDB/d.AttackMS*1000)
	d.LookaheadMS = d.AttackMS
	d.Why["lookahead_ms"] = fmt.Sprintf("down when the first word begins; the shortest run-in of a callout file is %.0f ms", p.shortestRunIn*1000)
	d.HoldMS = up(math.Max(holdMS, p.longestPauseS*1000-d.LookaheadMS+20), 10)
	if d.Why["hold_ms"] = "no pause within a callout lets go"; p.longestPauseS > 0 {
		d.Why["hold_ms"] = fmt.Sprintf("bridges the callouts' pauses, up to %.2f s, so nothing pumps", p.longestPauseS)
	}
	d.ReleaseMS = up(math.Min(math.Max(releaseMS, depthDB/returnDBPerS*1000), slowestMS), 10)
	d.Why["release_ms"] = fmt.Sprintf("back unnoticed: %.0f dB/s", depthDB/d.ReleaseMS*1000)
	return d
}

// up rounds to the next multiple of a step of one decimal or none.
func up(v, step float64) float64 {
	return math.Round(math.Ceil(v/step-1e-9)*step*10) / 10
}
