package solve

import (
	"fmt"
	"math"

	"tachbench/analysis/band"
	"tachbench/analysis/sii"
	"tachbench/mixplan/ear"
	"tachbench/mixplan/meet"
	"tachbench/samples"
)

// Obstacle is the sound that a callout which stays under the target suffers
// most from, and where.
type Obstacle struct {
	Category, Path string
	Index          float64 // over the hall and this sound alone, with the plan
	LowHz, HighHz  float64 // nominal third octaves from and to, where it takes at least half of what it takes at its worst
}

// obstacle finds it, in long-term spectra; nil if nothing but the hall takes
// anything.
func (p *problem) obstacle(c *Outcome, gains []sii.Masker) *Obstacle {
	var worst *Against
	for i := range c.Against {
		if a := &c.Against[i]; !math.IsNaN(a.Planned) && (worst == nil || a.Planned < worst.Planned) {
			worst = a
		}
	}
	if worst == nil {
		return nil
	}
	for b, bus := range p.pkg.Buses {
		for _, s := range bus.Sounds {
			if bus.Category == worst.Category && s.Path == worst.Path {
				o := &Obstacle{Category: worst.Category, Path: worst.Path, Index: worst.Planned}
				if o.LowHz, o.HighHz = p.taken(c.Sound, s, gains[b]); o.LowHz > 0 {
					return o
				}
			}
		}
	}
	return nil
}

// taken returns from where to where a sound takes audibility from a callout
// that has it over the hall alone; 0 if it takes none.
func (p *problem) taken(callout, other *meet.Sound, gain sii.Masker) (lowHz, highHz float64) {
	both := other.Long.MaskerPower()
	for k := range both {
		both[k] = samples.PowerDB(both[k]*gain[k] + p.hall[k])
	}
	alone := p.hall
	for k := range alone {
		alone[k] = samples.PowerDB(alone[k])
	}
	importance := callout.Importance()
	_, before := sii.IndexMasked(callout.Speech, alone, sii.Levels{}, importance)
	_, after := sii.IndexMasked(callout.Speech, both, sii.Levels{}, importance)
	var loss sii.Levels
	at := 0
	for i := range loss {
		loss[i] = importance.Band[i] * (before.A[i] - after.A[i])
		if loss[i] > loss[at] {
			at = i
		}
	}
	if loss[at] <= 0 {
		return 0, 0
	}
	from, to := at, at
	for from > 0 && loss[from-1] >= loss[at]/2 {
		from--
	}
	for to < len(loss)-1 && loss[to+1] >= loss[at]/2 {
		to++
	}
	return band.NominalHz(band.FirstX + ear.SpeechFrom + from), band.NominalHz(band.FirstX + ear.SpeechFrom + to)
}

// advice says in a sentence's second half what else would help.
func (o *Obstacle) advice() string {
	if o == nil {
		return ""
	}
	where := fmt.Sprintf("around %g Hz", o.LowHz)
	if o.HighHz > o.LowHz {
		where = fmt.Sprintf("from %g to %g Hz", o.LowHz, o.HighHz)
	}
	return fmt.Sprintf("; most in its way is %s (%.2f over it alone), and a version of that with less %s would help", o.Path, shown(o.Index), where)
}
