package bank

import (
	"fmt"
	"math"
	"sort"
)

// Coverage says what the recordings can and cannot do between idle and
// redline.
type Coverage struct {
	IdleRPM, RedlineRPM float64
	Layers              []LayerCoverage
	Advice              []string // what to record next, most useful first; empty when nothing is missing
}

// LayerCoverage is the coverage of the grains of one load.
type LayerCoverage struct {
	Load     float64
	FromRPM  float64 // lowest and highest revs recorded at this load
	ToRPM    float64
	Grains   int
	Regions  []Region // from idle to redline, without gaps between them
	Worst    float64  // largest stretch anywhere between idle and redline, percent
	Stretchy float64  // share of the range, by ln(RPM), where the stretch is above ResampleLimit
}

// Region is a range of revs that rests on the same recordings.
type Region struct {
	FromRPM, ToRPM float64
	Recordings     []string // with grains within ResampleLimit of the range, in order of the sheet; empty: none is near
	StretchPercent float64  // the largest distance to the nearest grain inside the region
}

// coverStep is the grid on which coverage is looked at, in ln(RPM).
const coverStep = 0.005

// Coverage reports on the revs from idle to redline. It panics unless
// 0 < idle < redline.
func (b *Bank) Coverage(idleRPM, redlineRPM float64) Coverage {
	if !(idleRPM > 0 && idleRPM < redlineRPM) {
		panic(fmt.Sprintf("bank: Coverage(%g, %g)", idleRPM, redlineRPM))
	}
	c := Coverage{IdleRPM: idleRPM, RedlineRPM: redlineRPM}
	for i := range b.Layers {
		c.Layers = append(c.Layers, b.coverLayer(&b.Layers[i], math.Log(idleRPM), math.Log(redlineRPM)))
	}
	c.Advice = advise(c)
	return c
}

func (b *Bank) coverLayer(l *Layer, from, to float64) LayerCoverage {
	n := len(l.Grains)
	out := LayerCoverage{Load: l.Load, FromRPM: l.Grains[0].RPM, ToRPM: l.Grains[n-1].RPM, Grains: n}
	limit := math.Log(1 + ResampleLimit)
	steps := int(math.Ceil((to - from) / coverStep))
	var key string
	beyond := 0
	for k := 0; k <= steps; k++ {
		ln := math.Min(to, from+float64(k)*coverStep)
		d := distance(l.Grains, ln)
		names := b.within(l.Grains, ln, limit)
		if d > limit {
			names = nil
			beyond++
		}
		percent := 100 * (math.Exp(d) - 1)
		out.Worst = math.Max(out.Worst, percent)
		if id := fmt.Sprint(names); k == 0 || id != key {
			key = id
			if m := len(out.Regions); m > 0 {
				out.Regions[m-1].ToRPM = math.Exp(ln)
			}
			out.Regions = append(out.Regions, Region{FromRPM: math.Exp(ln), Recordings: names})
		}
		r := &out.Regions[len(out.Regions)-1]
		r.ToRPM = math.Exp(ln)
		r.StretchPercent = math.Max(r.StretchPercent, percent)
	}
	out.Stretchy = float64(beyond) / float64(steps+1)
	return out
}

// distance returns how far, in ln(RPM), the nearest grain is.
func distance(grains []Grain, ln float64) float64 {
	i := sort.Search(len(grains), func(k int) bool { return grains[k].LnRPM >= ln })
	d := math.Inf(1)
	if i < len(grains) {
		d = grains[i].LnRPM - ln
	}
	if i > 0 {
		d = math.Min(d, ln-grains[i-1].LnRPM)
	}
	return d
}

// within names the recordings with a grain no further than limit from ln.
func (b *Bank) within(grains []Grain, ln, limit float64) []string {
	lo := sort.Search(len(grains), func(k int) bool { return grains[k].LnRPM >= ln-limit })
	seen := make([]bool, len(b.Recordings))
	for ; lo < len(grains) && grains[lo].LnRPM <= ln+limit; lo++ {
		seen[grains[lo].Rec] = true
	}
	var names []string
	for i, s := range seen {
		if s {
			names = append(names, b.Recordings[i].Name)
		}
	}
	return names
}

// advise turns gaps into recordings to make.
func advise(c Coverage) []string {
	var out []string
	full := c.Layers[len(c.Layers)-1]
	for _, l := range c.Layers {
		for _, g := range gaps(l) {
			out = append(out, adviseGap(g, l.Load, c))
		}
	}
	if c.Layers[0].Load > 0.5 {
		out = append(out, "no recording with the lever shut (load 0): record a coast-down from redline to idle, so that letting go sounds like letting go")
	} else if full.Load < 0.5 {
		out = append(out, "no recording under load (load 1): record a slow pull from idle to redline, 8 to 15 s")
	}
	return out
}

// gaps joins the uncovered regions of a layer.
func gaps(l LayerCoverage) []Region {
	var out []Region
	for _, r := range l.Regions {
		if len(r.Recordings) == 0 {
			out = append(out, r)
		}
	}
	return out
}

func adviseGap(g Region, load float64, c Coverage) string {
	// The gap as heard by a new hold: it covers ResampleLimit to both sides.
	span := math.Log(g.ToRPM / g.FromRPM)
	reach := 2 * math.Log(1+ResampleLimit)
	n := max(1, int(math.Ceil(span/reach)))
	head := fmt.Sprintf("load %.1f, %.0f to %.0f RPM: stretched up to %.0f %%", load, g.FromRPM, g.ToRPM, g.StretchPercent)
	if n > 4 {
		kind := "slow pull"
		if load < 0.5 {
			kind = "coast-down"
		}
		return fmt.Sprintf("%s; record a %s through it", head, kind)
	}
	at := ""
	for i := 0; i < n; i++ {
		rpm := g.FromRPM * math.Exp(span*(float64(i)+0.5)/float64(n))
		if i > 0 {
			at += " and "
		}
		at += fmt.Sprintf("%.0f", 50*math.Round(rpm/50))
	}
	word := "a hold"
	if n > 1 {
		word = "holds"
	}
	return fmt.Sprintf("%s; record %s at %s RPM", head, word, at)
}
