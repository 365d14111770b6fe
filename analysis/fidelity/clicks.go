package fidelity

import (
	"math"
	"sort"
)

const (
	arOrder     = 32
	clickBlockS = 0.040 // samples the predictor and σ are taken from
	clickHopS   = 0.020 // the middle of a block, in which events are looked for
	clickSigmas = 8.0
	clickMargin = 1.2
	clickTail   = 1e-4  // 1 − 0.9999
	clickRevs   = 0.12  // sources within ±12 % of the revs are compared
	clickFewest = 20    // source blocks below which the nearest revs are taken instead
	clickQuiet  = 1e-6  // blocks 60 dB under the mean power are not judged
	clickMergeS = 0.002 // exceedances closer than this are one event
	keptPeaks   = 16
)

// Detector names what found a click.
type Detector string

// The two detectors.
const (
	ARResidual       Detector = "prediction residual"
	SecondDifference Detector = "second difference"
)

// Click is one event that no engine pulse of the sources explains.
type Click struct {
	AtS      float64
	Detector Detector
	Ratio    float64 // |e|/σ at its peak
	Limit    float64 // what it had to stay under
}

// ClickResult tells the clicks of a render.
type ClickResult struct {
	Events []Click // ascending in time
	// WorstShare is the largest |e|/σ over its limit: above 1 means an event.
	WorstShare float64
	// OverTail counts the render's samples above max(8σ, 1.2 × source
	// p99.99), Expected how many the sources themselves have at the same
	// revs and length. By its definition one sample in 10 000 of a source
	// lies above its own p99.99, so this count alone is no verdict.
	OverTail int
	Expected float64
}

// clickBlock is one block's figures for one detector.
type clickBlock struct {
	rpm    float64
	rms    float64   // slow level, see slowLevels
	sigma  float64   // MAD/0.6745 of the error
	peaks  []float64 // largest |e|, descending
	n      int       // samples judged
	err    []float64 // |e| in the middle; only valid during the walk
	startS float64
}

// ClickReference holds how impulsive the sources are at which revs. Make it
// once and use it for any number of renders, one at a time: limits are kept
// as they are asked for.
type ClickReference struct{ det map[Detector]*tails }

type tails struct {
	blocks []clickBlock // ascending in rpm
	cache  map[int]limits
}

type limits struct{ sigmaShare, tail, top, overRate float64 }

// NewClickReference measures the sources. Takes that are too short are left
// out; with none left, only the 8σ limit holds.
func NewClickReference(sources []*Take) *ClickReference {
	r := &ClickReference{det: map[Detector]*tails{ARResidual: {}, SecondDifference: {}}}
	for _, s := range sources {
		walkClicks(s, func(d Detector, b clickBlock) {
			b.peaks = topPeaks(b.err)
			b.err = nil
			r.det[d].blocks = append(r.det[d].blocks, b)
		})
	}
	for _, t := range r.det {
		sort.SliceStable(t.blocks, func(i, j int) bool { return t.blocks[i].rpm < t.blocks[j].rpm })
		t.cache = map[int]limits{}
	}
	return r
}

// Clicks looks for clicks in a render. In blocks of 40 ms an all-pole
// predictor of order 32 is fitted (Burg) and its error e taken in the middle
// 20 ms; beside it the second difference x[n-1]-2x[n]+x[n+1]. The robust
// deviation is σ = MAD/0.6745.
//
// So that the comparison is fair, |e|/σ is compared and not |e|, with source
// blocks at the same revs (±12 %, else the nearest), because slow pulses
// stand out further than fast ones; and σ is never taken smaller than the
// sources' typical σ at those revs scaled to the level around the block, so that a
// render with less hiss than its sources does not turn their pulses into
// clicks. An event is a peak above
//
//	max(8, 1.2 × source p99.99, the source's own largest ratio)
//
// AR threshold: Godsill & Rayner, Digital Audio Restoration, 1998, ch. 5;
// limits: engine reference section 4, row ii. Blocks more than 60 dB under
// the render's mean power are passed over.
func (r *ClickReference) Clicks(t *Take) ClickResult {
	var out ClickResult
	walkClicks(t, func(d Detector, b clickBlock) {
		lim := r.det[d].at(b.rpm)
		sigma := math.Max(b.sigma, lim.sigmaShare*b.rms)
		if sigma <= 0 {
			return
		}
		spec := math.Max(clickSigmas, clickMargin*lim.tail)
		limit := math.Max(spec, lim.top)
		out.Expected += lim.overRate * float64(len(b.err))
		for i, e := range b.err {
			ratio := e / sigma
			out.WorstShare = math.Max(out.WorstShare, ratio/limit)
			if ratio > spec {
				out.OverTail++
			}
			if ratio <= limit {
				continue
			}
			at := b.startS + float64(i)/float64(t.RateHz)
			if k := len(out.Events) - 1; k >= 0 && out.Events[k].Detector == d && at-out.Events[k].AtS < clickMergeS {
				if ratio > out.Events[k].Ratio {
					out.Events[k] = Click{at, d, ratio, limit}
				}
				continue
			}
			out.Events = append(out.Events, Click{at, d, ratio, limit})
		}
	})
	sort.SliceStable(out.Events, func(i, j int) bool { return out.Events[i].AtS < out.Events[j].AtS })
	out.Events = mergeClicks(out.Events)
	return out
}

// mergeClicks joins events of the two detectors that are the same click,
// keeping the one that stands out further.
func mergeClicks(in []Click) []Click {
	var out []Click
	for _, c := range in {
		if k := len(out) - 1; k >= 0 && c.AtS-out[k].AtS < clickMergeS {
			if c.Ratio/c.Limit > out[k].Ratio/out[k].Limit {
				out[k] = c
			}
			continue
		}
		out = append(out, c)
	}
	return out
}

// at returns the limits at some revs, worked out once per 1/12 octave.
func (t *tails) at(rpm float64) limits {
	if len(t.blocks) == 0 {
		return limits{}
	}
	key := int(math.Round(12 * math.Log2(rpm)))
	if l, ok := t.cache[key]; ok {
		return l
	}
	mid := math.Exp2(float64(key) / 12)
	find := func(v float64) int {
		return sort.Search(len(t.blocks), func(i int) bool { return t.blocks[i].rpm >= v })
	}
	from, to := find(mid*(1-clickRevs)), find(mid*(1+clickRevs))
	for to-from < clickFewest && (from > 0 || to < len(t.blocks)) {
		below, above := math.Inf(1), math.Inf(1)
		if from > 0 {
			below = math.Log(mid / t.blocks[from-1].rpm)
		}
		if to < len(t.blocks) {
			above = math.Log(t.blocks[to].rpm / mid)
		}
		if below <= above {
			from--
		} else {
			to++
		}
	}
	l := measureTails(t.blocks[from:to])
	t.cache[key] = l
	return l
}

func measureTails(blocks []clickBlock) limits {
	var share []float64
	for _, b := range blocks {
		share = append(share, b.sigma/b.rms)
	}
	l := limits{sigmaShare: selectK(share, len(share)/2)}
	var ratios []float64
	n := 0
	for _, b := range blocks {
		sigma := math.Max(b.sigma, l.sigmaShare*b.rms)
		n += b.n
		if sigma <= 0 {
			continue
		}
		for _, p := range b.peaks {
			ratios = append(ratios, p/sigma)
		}
	}
	if len(ratios) == 0 {
		return l
	}
	sort.Sort(sort.Reverse(sort.Float64Slice(ratios)))
	l.top = ratios[0]
	l.tail = ratios[min(len(ratios)-1, int(float64(n)*clickTail))]
	spec := math.Max(clickSigmas, clickMargin*l.tail)
	over := sort.Search(len(ratios), func(i int) bool { return ratios[i] <= spec })
	l.overRate = float64(over) / float64(n)
	return l
}

// topPeaks returns the keptPeaks largest values of x, descending. More are
// never needed: the tail is one sample in ten thousand.
func topPeaks(x []float64) []float64 {
	top := make([]float64, 0, keptPeaks+1)
	for _, v := range x {
		if len(top) == keptPeaks && v <= top[keptPeaks-1] {
			continue
		}
		i := sort.Search(len(top), func(i int) bool { return top[i] < v })
		top = append(top, 0)
		copy(top[i+1:], top[i:])
		top[i] = v
		top = top[:min(len(top), keptPeaks)]
	}
	return top
}

// walkClicks visits the blocks of a take, both detectors one after the other.
func walkClicks(t *Take, visit func(Detector, clickBlock)) {
	size := int(clickBlockS * float64(t.RateHz))
	hop := int(clickHopS * float64(t.RateHz))
	if !t.usable(1) || len(t.X) < size || size < 4*arOrder {
		return
	}
	quiet := clickQuiet * meanSquare(t.X)
	f, b, work := make([]float64, size), make([]float64, size), make([]float64, size)
	margin := (size - hop) / 2
	levels := slowLevels(t.X, size, hop)
	for k, at := 0, 0; at+size <= len(t.X); k, at = k+1, at+hop {
		x := t.X[at : at+size]
		if ms := levels[k] * levels[k]; ms <= quiet || ms == 0 {
			continue
		}
		from := at + margin
		cyc := (t.Phase[at+size-1] - t.Phase[at]) * float64(t.RateHz) / float64(size-1)
		blk := clickBlock{rpm: t.Layout.RPM(cyc), rms: levels[k], n: hop,
			startS: float64(from) / float64(t.RateHz)}

		burg(x, f, b, arOrder)
		blk.sigma, blk.err = robust(f[arOrder:], work), rectify(f[margin:margin+hop])
		visit(ARResidual, blk)

		for i := 1; i+1 < size; i++ {
			b[i] = x[i-1] - 2*x[i] + x[i+1]
		}
		blk.sigma, blk.err = robust(b[1:size-1], work), rectify(b[margin:margin+hop])
		visit(SecondDifference, blk)
	}
}

// slowLevels returns for each block the median RMS, mean removed, of eleven
// blocks around it: a level no single click or step can raise.
func slowLevels(x []float64, size, hop int) []float64 {
	const side = 5
	var each []float64
	for at := 0; at+size <= len(x); at += hop {
		var sum, sum2 float64
		for _, v := range x[at : at+size] {
			sum, sum2 = sum+v, sum2+v*v
		}
		n := float64(size)
		each = append(each, math.Sqrt(math.Max(0, sum2/n-sum*sum/(n*n))))
	}
	out := make([]float64, len(each))
	var work []float64
	for i := range each {
		work = append(work[:0], each[max(0, i-side):min(len(each), i+side+1)]...)
		out[i] = selectK(work, len(work)/2)
	}
	return out
}

// robust returns MAD/0.6745, the deviation of a normal law with that median
// absolute value. The error of a predictor has no mean worth removing.
func robust(e, work []float64) float64 {
	w := work[:len(e)]
	for i, v := range e {
		w[i] = math.Abs(v)
	}
	return selectK(w, len(w)/2) / 0.6745
}

func rectify(e []float64) []float64 {
	for i, v := range e {
		e[i] = math.Abs(v)
	}
	return e
}
